// What the photographer decided about each panorama: accepted, to be redone, a note. Kept in the browser's
// localStorage under the tour's key. A tick belongs to the result that was looked at: when that has been made anew
// since (its mark is another), the panorama is open again.

const ticksKey = `underfoot review ${index.key}`;
const ticks = new Map(); // record key -> { state: 'accept' | 'redo' | '', note, mark }
const tickListeners = [];

function stored(key) {
  try {
    return localStorage.getItem(key);
  } catch {
    return null; // a browser that allows no storage: ticks last as long as the page
  }
}

function store(key, value) {
  try {
    localStorage.setItem(key, value);
  } catch {
    // as above
  }
}

function loadTicks() {
  let saved = {};
  try {
    saved = JSON.parse(stored(ticksKey) ?? '{}');
  } catch {
    saved = {};
  }
  ticks.clear();
  for (const record of records) {
    const tick = saved[record.key];
    const fresh = { state: '', note: '', mark: record.mark, stale: false };
    if (tick && tick.mark === record.mark)
      Object.assign(fresh, { state: tick.state, note: tick.note });
    else if (tick && tick.state)
      fresh.stale = true;
    ticks.set(record.key, fresh);
  }
}

function saveTicks() {
  const kept = {};
  for (const [key, tick] of ticks)
    if (tick.state !== '' || tick.note !== '')
      kept[key] = { state: tick.state, note: tick.note, mark: tick.mark };
  store(ticksKey, JSON.stringify(kept));
}

function tickOf(record) {
  return ticks.get(record.key);
}

function changed(record) {
  saveTicks();
  for (const listener of tickListeners)
    listener(record);
}

// The same state again takes it back.
function decide(record, state) {
  const tick = tickOf(record);
  tick.state = tick.state === state ? '' : state;
  tick.stale = false;
  changed(record);
}

function setNote(record, note) {
  tickOf(record).note = note;
  saveTicks();
}

function forgetTicks() {
  for (const record of records) {
    Object.assign(tickOf(record), { state: '', note: '', stale: false });
    changed(record);
  }
}

// Two buttons for a panorama that stay true wherever else it is decided.
function decideButtons(record) {
  return [['accept', 'Accept', 'A'], ['redo', 'Redo', 'R']].map(([state, text, key]) =>
    make(`button.${state}`, {
      type: 'button',
      'data-state': state,
      'aria-pressed': String(tickOf(record).state === state),
      'aria-keyshortcuts': key,
      title: `${text} (${key})`,
      click: () => decide(record, state),
    }, icon(state), text));
}

function showDecision(buttons, record) {
  for (const button of buttons)
    button.setAttribute('aria-pressed', String(tickOf(record).state === button.dataset.state));
}

loadTicks();
// another window with the same page
window.addEventListener('storage', event => {
  if (event.key !== ticksKey)
    return;
  loadTicks();
  for (const record of records)
    for (const listener of tickListeners)
      listener(record);
});
