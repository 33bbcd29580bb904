// The look-around dialog: one panorama over the whole window, around or straight down; on to the next without
// closing. The address holds what is shown (#open=NAME&yaw=90&pitch=-20&fov=75 or &view=down), so that a place can be
// sent to somebody who has the page.

const look = byId('look');
const lookState = { record: null, shown: null, down: false, frame: 0, settle: 0, order: [] };
const renderer = sphereRenderer(canvas);

// Keys in the address and in storage: the name's bytes, percent-encoded (RFC 3986) but for the unreserved ones.
function canonical(text) {
  const bytes = (text.match(/%[0-9A-Fa-f]{2}|[^]/gu) ?? []).flatMap(part =>
    part.length === 3 && part[0] === '%' ? [parseInt(part.slice(1), 16)] : [...new TextEncoder().encode(part)]);
  return bytes.map(byte => {
    const letter = String.fromCharCode(byte);
    return /[A-Za-z0-9._~-]/.test(letter) ? letter : `%${byte.toString(16).toUpperCase().padStart(2, '0')}`;
  }).join('');
}

function address() {
  const { record, down } = lookState;
  if (record === null)
    return '#';
  const number = value => String(Number(value.toFixed(1)));
  return down ? `#open=${record.key}&view=down`
    : `#open=${record.key}&yaw=${number(aim.yaw)}&pitch=${number(aim.pitch)}&fov=${number(acrossField())}`;
}

function noteAddress() {
  try {
    history.replaceState(null, '', address());
  } catch {
    // some browsers forbid it for files: the address then stays as it was
  }
}

function drawTicks() {
  for (let angle = 0; angle < 360; angle += 15) {
    const long = angle % 90 === 0;
    byId('ticks').append(svg('path', {
      d: `M0-44v${long ? 9 : angle % 45 === 0 ? 6 : 4}`, transform: `rotate(${angle})`, class: long ? 'long' : 'short',
    }));
  }
}

// The dial's top is the picture's centre; the wedge is what the view shows.
function drawReadout() {
  const half = acrossField() / 2;
  const edge = side => {
    const angle = radians(aim.yaw + side * half);
    return `${(36 * Math.sin(angle)).toFixed(2)} ${(-36 * Math.cos(angle)).toFixed(2)}`;
  };
  byId('wedge').setAttribute('d', `M0 0L${edge(-1)}A36 36 0 ${half > 90 ? 1 : 0} 1 ${edge(1)}Z`);
  const north = byId('north');
  const heading = lookState.record.heading;
  north.toggleAttribute('hidden', heading === null);
  north.setAttribute('transform', `rotate(${-(heading ?? 0) / 1000})`);
  const compass = heading === null ? [] :
    [`heading ${(Math.round(((heading / 1000 + aim.yaw) % 360 + 360) % 360 * 10) / 10 % 360).toFixed(1)}°`];
  byId('readout-text').textContent =
    [`yaw ${sayAngle(aim.yaw)}`, `pitch ${sayAngle(aim.pitch)}`, `field ${acrossField().toFixed(0)}°`, ...compass].join('\n');
}

function draw() {
  lookState.frame = 0;
  if (lookState.record === null || lookState.down)
    return;
  const ratio = Math.min(2, window.devicePixelRatio || 1);
  const [width, height] = [canvas.clientWidth, canvas.clientHeight].map(side => Math.max(1, Math.round(side * ratio)));
  if (canvas.width !== width || canvas.height !== height)
    [canvas.width, canvas.height] = [width, height];
  const drawn = renderer?.draw({ yaw: radians(aim.yaw), pitch: radians(aim.pitch), plane: aimPlane() });
  canvas.dataset.shows = drawn === true ? lookState.record.key : ''; // for whoever waits for the picture
  drawReadout();
}

function redraw() {
  if (lookState.frame === 0)
    lookState.frame = requestAnimationFrame(draw);
}

// When the view has come to rest: the address, and what a screen reader says.
function settle() {
  noteAddress();
  byId('readout-said').textContent = byId('readout-text').textContent.replaceAll('\n', ', ');
}

aimChanged = () => {
  redraw();
  clearTimeout(lookState.settle);
  lookState.settle = setTimeout(settle, 250);
};

function say(text) {
  byId('view-note').textContent = text;
  byId('view-note').hidden = text === '';
}

async function showAround(record) {
  say(renderer === null ? 'This browser has no WebGL 2, which the look-around view needs.' : '');
  redraw();
  if (renderer === null || lookState.shown === record)
    return;
  renderer.clear();
  lookState.shown = null;
  canvas.dataset.shows = '';
  const blob = await blobOf(record, 'around');
  if (lookState.record !== record)
    return;
  if (blob === null) {
    say('There is no result to look at.');
    return;
  }
  try {
    const bitmap = await createImageBitmap(blob);
    if (lookState.record === record) {
      renderer.show(bitmap);
      lookState.shown = record;
    }
    bitmap.close();
  } catch {
    say('The embedded picture cannot be decoded.');
  }
  redraw();
}

function showView(down) {
  lookState.down = down;
  byId('look-around').setAttribute('aria-pressed', String(!down));
  byId('look-down').setAttribute('aria-pressed', String(down));
  for (const id of ['view', 'readout', 'presets'])
    byId(id).hidden = down;
  byId('down').hidden = !down;
  byId('down').replaceChildren(...(down ? [compare(lookState.record)] : []));
  if (down)
    say('');
  else
    showAround(lookState.record);
  (down ? byId('down').querySelector('input') ?? byId('look-down') : canvas).focus();
  noteAddress();
}

function showDialogRecord(record) {
  lookState.record = record;
  const place = lookState.order.indexOf(record);
  byId('look-name').textContent = record.name;
  byId('look-place').textContent = place < 0 ? '' : `${place + 1} / ${lookState.order.length}`;
  byId('look-previous').disabled = place <= 0;
  byId('look-next').disabled = place < 0 || place + 1 >= lookState.order.length;
  byId('look-decide').replaceChildren(...(record.outcome === 'skipped' ? [] : decideButtons(record)));
  canvas.setAttribute('aria-label', `Look around ${record.name}`);
}

// order: the panoramas that previous and next go through.
function openLook(record, order, where) {
  lookState.order = order;
  if (!look.open)
    look.showModal();
  showDialogRecord(record);
  stopGlide();
  aim.field = 90;
  if (where.fov !== undefined)
    setAcrossField(where.fov);
  aimAt(where.yaw ?? 0, where.pitch ?? 0);
  showView(where.down === true);
}

function stepLook(by) {
  const next = lookState.order[lookState.order.indexOf(lookState.record) + by];
  if (next === undefined)
    return;
  showDialogRecord(next);
  showView(lookState.down);
}

// What the address asks for; false when it names no panorama of this tour.
function openFromAddress(order) {
  const wanted = new Map(location.hash.slice(1).split('&').map(part => {
    const at = part.indexOf('=');
    return at < 0 ? [part, ''] : [part.slice(0, at), part.slice(at + 1)];
  }));
  const key = canonical(wanted.get('open') ?? '');
  const record = key === '' ? undefined : records.find(candidate => candidate.key === key);
  if (record === undefined)
    return false;
  const where = { down: wanted.get('view') === 'down' };
  for (const name of ['yaw', 'pitch', 'fov'])
    if (wanted.get(name) && Number.isFinite(Number(wanted.get(name))))
      where[name] = Number(wanted.get(name));
  openLook(record, order.includes(record) ? order : records, where);
  return true;
}

look.addEventListener('keydown', event => {
  if (event.ctrlKey || event.altKey || event.metaKey)
    return;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  const state = { a: 'accept', r: 'redo' }[key];
  const step = { PageUp: -1, PageDown: 1 }[key];
  if (state !== undefined && lookState.record.outcome !== 'skipped')
    decide(lookState.record, state);
  else if (step !== undefined)
    stepLook(step);
  else if (key === 'd')
    showView(!lookState.down);
  else if (lookState.down || !aimKey(event))
    return;
  event.preventDefault();
});

look.addEventListener('close', () => {
  stopGlide();
  clearTimeout(lookState.settle);
  const { record } = lookState;
  lookState.record = null;
  byId('down').replaceChildren();
  noteAddress();
  look.dispatchEvent(new CustomEvent('left', { detail: record }));
});
byId('look-close').addEventListener('click', () => look.close());
byId('look-previous').addEventListener('click', () => stepLook(-1));
byId('look-next').addEventListener('click', () => stepLook(1));
byId('look-around').addEventListener('click', () => showView(false));
byId('look-down').addEventListener('click', () => showView(true));
canvas.addEventListener('renew', () => {
  lookState.shown = null;
  if (lookState.record !== null)
    showAround(lookState.record);
});
tickListeners.push(record => record === lookState.record && showDecision(byId('look-decide').children, record));
new ResizeObserver(redraw).observe(canvas);
drawTicks();
