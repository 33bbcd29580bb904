// The index of the tour, and its pictures: base64 in inert script blocks after this script, made into blobs when
// they are first asked for. The page works while later blocks are still being read.

const index = JSON.parse(document.getElementById('index').textContent);
const records = index.panoramas;

const blobs = new Map(); // block id -> promise of a Blob, null when there is no such picture
const urls = new Map(); // block id -> blob: URL
const waiting = new Map(); // block id -> what to do when its block has been read

function bytesOf(base64) {
  if (Uint8Array.fromBase64)
    return Uint8Array.fromBase64(base64);
  const text = atob(base64);
  const bytes = new Uint8Array(text.length);
  for (let i = 0; i < text.length; i++)
    bytes[i] = text.charCodeAt(i);
  return bytes;
}

// A block is whole when something follows it: the parser fills a script element piecemeal.
function isWhole(block) {
  return block !== null && (block.nextSibling !== null || document.readyState !== 'loading');
}

function takeBlock(block) {
  const text = block === null ? '' : block.textContent.trim();
  if (block !== null)
    block.remove();
  return text === '' ? null : new Blob([bytesOf(text)], { type: 'image/jpeg' });
}

function answerWaiting(all) {
  for (const [id, answer] of waiting) {
    const block = document.getElementById(id);
    if (!all && !isWhole(block))
      continue;
    waiting.delete(id);
    answer(takeBlock(block));
  }
}

if (document.readyState === 'loading') {
  const observer = new MutationObserver(() => answerWaiting(false));
  observer.observe(document.body, { childList: true });
  document.addEventListener('DOMContentLoaded', () => {
    observer.disconnect();
    answerWaiting(true);
  });
}

function blobOf(record, piece) {
  if (!record.pieces.includes(piece))
    return Promise.resolve(null);
  const id = `p${record.at}-${piece}`;
  if (!blobs.has(id)) {
    const block = document.getElementById(id);
    if (isWhole(block) || document.readyState !== 'loading')
      blobs.set(id, Promise.resolve(takeBlock(block)));
    else
      blobs.set(id, new Promise(answer => waiting.set(id, answer)));
  }
  return blobs.get(id);
}

async function urlOf(record, piece) {
  const id = `p${record.at}-${piece}`;
  const blob = await blobOf(record, piece);
  if (blob !== null && !urls.has(id))
    urls.set(id, URL.createObjectURL(blob));
  return urls.get(id) ?? null;
}

// Shows a piece in an <img>; a piece that is not there marks the frame around it.
async function fill(image, record, piece) {
  const url = await urlOf(record, piece);
  if (url === null)
    image.parentElement.classList.add('empty');
  else
    image.src = url;
}
