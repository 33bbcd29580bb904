// The page: head, filters, search, keys.

const filters = [
  ['all', 'All', () => true],
  ['attention', 'Problems', record => record.outcome === 'failed' || record.outcome === 'warned'],
  ['open', 'Undecided', record => record.outcome !== 'skipped' && tickOf(record).state === ''],
  ['redo', 'Redo', record => tickOf(record).state === 'redo'],
];
let filter = filters[0];

const pageKeys = [
  ['J, K', 'next, previous panorama'],
  ['A, R', 'accept, redo the panorama that has the focus; again takes it back'],
  ['Enter, L', 'look around it'],
  ['D', 'straight down, large; in the dialog: to and fro'],
  ['\u2190 \u2192', 'on the slider: before and after'],
  ['/', 'search'],
  ['Esc', 'close; the focus returns'],
  ['In the look-around view', ''],
  ['\u2190 \u2192 \u2191 \u2193', 'turn; with Shift a little'],
  ['+ \u2212', 'nearer, wider'],
  ['1 to 6', 'ahead, right, seam, left, up, down'],
  ['Page Up, Page Down', 'previous, next panorama'],
];

function shownRecords() {
  return records.filter(record => !cards.get(record).element.hidden);
}

function applyFilter() {
  const words = plain(byId('search').value.trim()).split(/\s+/);
  let shown = 0;
  for (const record of records) {
    const name = plain(record.name);
    const fits = filter[2](record) && words.every(word => name.includes(word));
    cards.get(record).element.hidden = !fits;
    shown += fits ? 1 : 0;
  }
  byId('nothing').hidden = shown > 0;
  byId('shown').textContent = `${shown} of ${records.length} shown`;
}

function showCounts() {
  for (const [id, , fits] of filters)
    byId(`filter-${id}-count`).textContent = records.filter(fits).length;
  const decidable = records.filter(record => record.outcome !== 'skipped');
  const decided = decidable.filter(record => tickOf(record).state !== '');
  const redo = decided.filter(record => tickOf(record).state === 'redo').length;
  byId('redo-count').textContent = redo;
  byId('redo-count').hidden = redo === 0;
  const bar = byId('progress');
  bar.setAttribute('aria-valuemax', decidable.length);
  bar.setAttribute('aria-valuenow', decided.length);
  bar.setAttribute('aria-valuetext', `${decided.length} of ${decidable.length} decided`);
  bar.firstElementChild.style.setProperty('--part', decidable.length === 0 ? 0 : decided.length / decidable.length);
}

function makeFilters() {
  for (const entry of filters) {
    const [id, text] = entry;
    byId('filters').append(make('label', null,
      make('input', {
        type: 'radio', name: 'filter', value: id, checked: entry === filter,
        change: () => { filter = entry; applyFilter(); },
      }), make('span', null, text, ' ', make('span.count', { id: `filter-${id}-count` }))));
  }
}

function makeSubtitle() {
  const parts = [count(records.length, 'panorama', 'panoramas')];
  const count_of = outcome => records.filter(record => record.outcome === outcome).length;
  if (count_of('failed') > 0)
    parts.push(`${count_of('failed')} failed`);
  if (count_of('warned') > 0)
    parts.push(`${count_of('warned')} with warnings`);
  if (index.ms > 0)
    parts.push(sayTime(index.ms));
  if (index.made !== null)
    parts.push(index.made);
  byId('subtitle').textContent = parts.join(' · ');
}

function focusCard(record) {
  const { element } = cards.get(record);
  element.focus({ preventScroll: true });
  element.scrollIntoView({ block: 'nearest', behavior: calm.matches ? 'auto' : 'smooth' });
}

function focusedRecord() {
  const card = document.activeElement.closest?.('.card');
  return card ? records[Number(card.dataset.at)] : undefined;
}

function stepCard(by) {
  const shown = shownRecords();
  const at = shown.indexOf(focusedRecord());
  const next = shown[at < 0 ? (by > 0 ? 0 : shown.length - 1) : clamp(at + by, 0, shown.length - 1)];
  if (next !== undefined)
    focusCard(next);
}

// True when the key meant something.
function cardKey(key, record, onCard) {
  if (record === undefined)
    return false;
  const state = { a: 'accept', r: 'redo' }[key];
  if (state !== undefined && record.outcome !== 'skipped')
    decide(record, state);
  else if (key === 'd')
    openLook(record, shownRecords(), { down: true });
  else if (key === 'l' || (key === 'Enter' && onCard))
    openLook(record, shownRecords(), {});
  else
    return false;
  return true;
}

function pageKey(event) {
  const typing = event.target.matches?.('input[type=text], input[type=search], textarea');
  if (typing || event.ctrlKey || event.altKey || event.metaKey || document.querySelector('dialog[open]'))
    return;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  if (key === 'j' || key === 'k')
    stepCard(key === 'j' ? 1 : -1);
  else if (key === '/')
    byId('search').focus();
  else if (key === '?')
    byId('keys').showModal();
  else if (!cardKey(key, focusedRecord(), event.target.matches?.('.card')))
    return;
  event.preventDefault();
}

function toggleTheme() {
  const dark = getComputedStyle(document.documentElement).getPropertyValue('color-scheme') === 'dark' ||
    (!document.documentElement.dataset.theme && window.matchMedia('(prefers-color-scheme: dark)').matches);
  document.documentElement.dataset.theme = dark ? 'light' : 'dark';
  store('underfoot review theme', document.documentElement.dataset.theme);
}

function begin() {
  const theme = stored('underfoot review theme');
  if (theme === 'light' || theme === 'dark')
    document.documentElement.dataset.theme = theme;
  makeFilters();
  makeSubtitle();
  const all = document.createDocumentFragment();
  for (const record of records)
    all.append(makeCard(record, where => openLook(record, shownRecords(), where)));
  byId('cards').append(all);
  for (const [keys, text] of pageKeys)
    byId('keys-list').append(make(text === '' ? 'dt.group' : 'dt', null, keys), make('dd', null, text));
  tickListeners.push(showCounts);
  showCounts();
  applyFilter();
  openFromAddress(records);
}

byId('search').addEventListener('input', applyFilter);
byId('show-all').addEventListener('click', () => {
  byId('search').value = '';
  byId('filters').querySelector('input').click();
  applyFilter();
});
byId('theme').addEventListener('click', toggleTheme);
byId('ring').addEventListener('change', () => document.documentElement.classList.toggle('no-ring', !byId('ring').checked));
byId('keys-open').addEventListener('click', () => byId('keys').showModal());
byId('keys-close').addEventListener('click', () => byId('keys').close());
document.addEventListener('keydown', pageKey);
window.addEventListener('hashchange', () => openFromAddress(shownRecords()));
// after steps to other panoramas the focus goes to the one that was looked at last
look.addEventListener('left', event => {
  if (event.detail !== null && focusedRecord() !== event.detail && !cards.get(event.detail).element.hidden)
    focusCard(event.detail);
});
begin();
