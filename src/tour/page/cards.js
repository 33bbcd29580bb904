// One card a panorama. Its pictures are decoded when it comes near the window.

const cards = new Map(); // record -> { element, buttons, note }
const outcomeText = { failed: 'failed', warned: 'warnings', done: '', skipped: 'skipped' };

const near = new IntersectionObserver(entries => {
  for (const entry of entries)
    if (entry.isIntersecting) {
      near.unobserve(entry.target);
      entry.target.dispatchEvent(new Event('near'));
    }
}, { rootMargin: '700px 0px' });

function strip(record, open) {
  const image = make('img', { alt: '', decoding: 'async', draggable: 'false' });
  const button = make('button.strip', {
    type: 'button',
    'aria-label': `Look around ${record.name}`,
    click: event => {
      const box = button.getBoundingClientRect();
      const byKey = event.detail === 0; // a click that no pointer made
      open({
        yaw: byKey ? 0 : ((event.clientX - box.left) / box.width - 0.5) * 360,
        pitch: byKey ? 0 : (0.5 - (event.clientY - box.top) / box.height) * 360 * box.height / box.width,
      });
    },
  }, image, make('span.hint', { 'aria-hidden': 'true' }, 'look around'));
  return [button, () => fill(image, record, 'around')];
}

function thumbnail(record, piece, text, open) {
  const image = make('img', { alt: '', decoding: 'async', draggable: 'false' });
  const button = make('button.thumb', { type: 'button', 'aria-label': `${text} of ${record.name}: look there`, click: open },
    image, make('span.tag.left', { 'aria-hidden': 'true' }, text.toLowerCase()));
  return [button, () => fill(image, record, piece)];
}

function fact(term, value, more) {
  return value === null ? [] : [make('div', null, make('dt', null, term), make('dd', null, value, more && make('span.from', null, more)))];
}

function facts(record) {
  const made = record.outputBytes > 0 && `${sayBytes(record.outputBytes)} made`; // views and copies, too
  return make('dl.facts', null,
    ...fact('Cap', record.cap > 0 ? `${(record.cap / 1000).toFixed(1)}°` : record.output === null ? null : 'none', record.capFrom),
    ...fact('Size', record.width > 0 ? `${record.width} \u00d7 ${record.height}` : null),
    ...fact('File', record.inputBytes > 0 ? sayBytes(record.inputBytes) : null, made),
    ...fact('Time', record.ms > 0 ? sayTime(record.ms) : null));
}

// A JSON value as nested lists of names and values.
function outline(value) {
  if (value === null || typeof value !== 'object')
    return make('span', null, value === null ? '\u2013' : String(value));
  return make('ul', null, ...Object.entries(value).map(([key, inner]) =>
    make('li', null, Array.isArray(value) ? null : make('b', null, `${key.replaceAll('_', ' ')} `), outline(inner))));
}

function details(record) {
  const box = make('details', null, make('summary', null, 'Files and steps'));
  box.addEventListener('toggle', () => {
    if (!box.open || box.childElementCount > 1)
      return;
    let steps = null;
    try {
      steps = record.steps === null ? null : JSON.parse(record.steps);
    } catch {
      steps = record.steps;
    }
    box.append(make('div.inside', null,
      make('ul', null,
        make('li', null, make('b', null, 'in '), record.input),
        record.output !== null && make('li', null, make('b', null, 'out '), record.output)),
      steps === null ? null : outline(steps)));
  });
  return box;
}

function messages(record) {
  const items = record.warnings.map(text => make('li', null, text));
  if (record.error !== null)
    items.unshift(make('li.error', null, record.error));
  return items.length === 0 ? null : make(`ul.messages.${record.outcome}`, { 'aria-label': 'Messages' }, ...items);
}

function noteField(record) {
  return make('label.noted', { hidden: true }, make('span.unseen', null, `What to redo in ${record.name}`),
    make('input', {
      type: 'text', maxlength: 120, placeholder: 'What to redo (goes along as a comment)', autocomplete: 'off',
      value: tickOf(record).note, input: event => setNote(record, event.target.value),
    }));
}

function addPictures(card, record, open) {
  const loads = [];
  const add = ([element, load]) => {
    loads.push(load);
    return element;
  };
  const nadir = make('div.nadir', null);
  if (record.pieces.includes('around'))
    card.append(add(strip(record, open)));
  const sides = [];
  if (record.pieces.includes('seam'))
    sides.push(add(thumbnail(record, 'seam', 'Seam', () => open({ yaw: 180, pitch: 0 }))));
  if (record.pieces.includes('zenith'))
    sides.push(add(thumbnail(record, 'zenith', 'Zenith', () => open({ yaw: 0, pitch: 90 }))));
  if (record.pieces.length > 0)
    card.append(make(`div.pictures${sides.length === 0 ? '.alone' : ''}`, null, nadir, ...sides));
  card.addEventListener('near', () => {
    if (record.pieces.length > 0)
      nadir.append(compare(record), make('button.icon.larger', {
        type: 'button', 'aria-label': `Straight down, larger: ${record.name}`, title: 'Larger',
        click: () => open({ down: true }),
      }, icon('larger')));
    loads.forEach(load => load());
  });
}

function showCard(record) {
  const { element, buttons, note } = cards.get(record);
  const tick = tickOf(record);
  element.dataset.state = tick.state;
  showDecision(buttons, record);
  note.hidden = tick.state !== 'redo';
  note.lastChild.value = tick.note;
  element.querySelector('.stale').hidden = !tick.stale;
}

function makeCard(record, open) {
  const title = `card-${record.at}`;
  const buttons = record.outcome === 'skipped' ? [] : decideButtons(record);
  const note = noteField(record);
  const card = make(`article.card${record.pieces.length === 0 ? '.slim' : ''}`, { 'aria-labelledby': title, tabindex: -1, 'data-outcome': record.outcome, 'data-at': record.at });
  const word = outcomeText[record.outcome];
  card.append(make('div.name', null, make('h2', { id: title }, record.name),
    word !== '' && make(`span.outcome.${record.outcome}`, null, word)));
  const said = messages(record);
  if (said !== null)
    card.append(said);
  addPictures(card, record, open);
  card.append(facts(record), make('p.stale', { hidden: true }, 'Made anew since you ticked it.'), details(record));
  if (buttons.length > 0)
    card.append(make('div.decide', { role: 'group', 'aria-label': `Decide about ${record.name}` }, ...buttons), note);
  cards.set(record, { element: card, buttons, note });
  showCard(record);
  near.observe(card);
  return card;
}

tickListeners.push(showCard);
