// Making elements, and saying numbers.

const byId = id => document.getElementById(id);

// make('button.strong', { type: 'button' }, 'text', child, ...): attributes by name, functions as listeners.
function make(what, attributes, ...children) {
  const [tag, ...classes] = what.split('.');
  const element = document.createElement(tag);
  if (classes.length > 0)
    element.className = classes.join(' ');
  for (const [key, value] of Object.entries(attributes ?? {})) {
    if (typeof value === 'function')
      element.addEventListener(key, value);
    else if (value === true)
      element.setAttribute(key, '');
    else if (value !== false && value !== null && value !== undefined)
      element.setAttribute(key, value);
  }
  element.append(...children.filter(child => child !== null && child !== undefined && child !== false));
  return element;
}

function svg(tag, attributes) {
  const element = document.createElementNS('http://www.w3.org/2000/svg', tag);
  for (const [key, value] of Object.entries(attributes))
    element.setAttribute(key, value);
  return element;
}

function icon(name) {
  const element = svg('svg', { 'aria-hidden': 'true' });
  element.append(svg('use', { href: `#i-${name}` }));
  return element;
}

const thin = '\u202f'; // a narrow space that does not break, between number and unit

function count(number, one, many) {
  return `${number} ${number === 1 ? one : many}`;
}

function sayBytes(bytes) {
  const [size, unit] = bytes >= 1e9 ? [bytes / 1e9, 'GB'] : bytes >= 1e6 ? [bytes / 1e6, 'MB'] : [bytes / 1e3, 'kB'];
  return `${size.toFixed(size >= 100 ? 0 : 1)}${thin}${unit}`;
}

function sayTime(ms) {
  const seconds = ms / 1000;
  if (seconds < 60)
    return `${seconds.toFixed(seconds < 10 ? 1 : 0)}${thin}s`;
  const whole = Math.round(seconds);
  const [hours, minutes] = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60];
  return hours > 0 ? `${hours}${thin}h ${minutes}${thin}min` : `${minutes}${thin}min ${whole % 60}${thin}s`;
}

// A signed angle with a true minus: "+12.5°".
function sayAngle(degrees) {
  const text = Math.abs(degrees).toFixed(1);
  return `${text === '0.0' ? '' : degrees < 0 ? '\u2212' : '+'}${text}°`;
}

// Letters without case and accents, for searching.
function plain(text) {
  return text.normalize('NFD').replace(/\p{M}/gu, '').toLowerCase();
}
