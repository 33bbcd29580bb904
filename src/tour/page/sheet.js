// The panoramas to be redone as sections of the job sheet, to paste: INI, a section a panorama, comments behind ;.

const sheetLine = 150; // bytes; a sheet's line holds 190

const bytesIn = text => new TextEncoder().encode(text).length;

// Comment lines that are short enough for a sheet.
function comment(text) {
  const words = text.replace(/\s+/g, ' ').trim().split(' ')
    .flatMap(word => bytesIn(word) <= sheetLine ? [word] : word.match(/.{1,37}/gu)); // a character has up to 4 bytes
  const lines = [''];
  for (const word of words) {
    const last = lines[lines.length - 1];
    if (last !== '' && bytesIn(`${last} ${word}`) > sheetLine)
      lines.push(word);
    else
      lines[lines.length - 1] = last === '' ? word : `${last} ${word}`;
  }
  return lines.filter(line => line !== '').map(line => `; ${line}\n`).join('');
}

// What may be changed stands there as a comment, with its present value.
function sheetSection(record) {
  const cap = record.cap > 0 ? `; patch.cap = ${(record.cap / 1000).toFixed(1)}\n; patch.seed = 1\n` : '';
  return `[panorama ${record.section}]\n${comment(tickOf(record).note)}${comment(record.error ?? '')}${cap}`;
}

function sheetText() {
  return records.filter(record => tickOf(record).state === 'redo').map(sheetSection).join('\n');
}

function showSheet() {
  const redo = records.filter(record => tickOf(record).state === 'redo').length;
  byId('sheet-help').textContent = redo === 0
    ? 'Tick Redo on the panoramas that are to be made again; their sections appear here.'
    : `${count(redo, 'panorama', 'panoramas')} to redo. Paste ${redo === 1 ? 'the section' : 'the sections'} at the end of ` +
      `${index.sheet ?? 'the job sheet'}, or the lines into a section of that name that is there already. Take the ; away ` +
      'from what you change (patch.cap covers more or less, patch.seed lays another floor), and run the tour again: it makes ' +
      'anew what differs, nothing else.';
  byId('sheet-text').value = sheetText();
  byId('sheet-text').hidden = redo === 0;
  byId('sheet-said').textContent = '';
  for (const id of ['sheet-copy', 'sheet-save'])
    byId(id).disabled = redo === 0;
  byId('sheet-forget').textContent = 'Forget all ticks';
  byId('sheet-forget').disabled = records.every(record => tickOf(record).state === '');
  byId('sheet').showModal();
}

async function copySheet() {
  const text = byId('sheet-text');
  let done = false;
  try {
    await navigator.clipboard.writeText(text.value);
    done = true;
  } catch {
    text.select();
    done = document.execCommand('copy'); // where a file has no right to the clipboard
  }
  byId('sheet-said').textContent = done ? 'Copied.' : 'Select the text and copy it.';
}

function saveSheet() {
  const url = URL.createObjectURL(new Blob([byId('sheet-text').value], { type: 'text/plain' }));
  make('a', { href: url, download: 'redo.ini' }).click();
  setTimeout(() => URL.revokeObjectURL(url), 1000);
}

// The second press does it.
function forgetAfterAsking() {
  const button = byId('sheet-forget');
  const ticked = records.filter(record => tickOf(record).state !== '').length;
  const question = `Really forget ${count(ticked, 'tick', 'ticks')}?`;
  if (button.textContent !== question) {
    button.textContent = question;
    return;
  }
  forgetTicks();
  byId('sheet').close();
}

byId('sheet-open').addEventListener('click', showSheet);
byId('sheet-copy').addEventListener('click', copySheet);
byId('sheet-save').addEventListener('click', saveSheet);
byId('sheet-forget').addEventListener('click', forgetAfterAsking);
byId('sheet-close').addEventListener('click', () => byId('sheet').close());
