// Straight down before and after: two pictures on each other and a slider over both. The slider is an <input
// type="range">, so pointer, touch, keyboard and screen readers are the browser's own.

const nadirHalfField = 50 * Math.PI / 180; // the pictures show 100 degrees across

// The cap's edge in the picture, as a part of its half width; 0 when it does not show.
function ringRadius(capDeg) {
  const radius = capDeg > 0 && capDeg < 89 ? Math.tan(capDeg * Math.PI / 180) / Math.tan(nadirHalfField) : 0;
  return radius <= 1.4 ? radius : 0;
}

function ring(record) {
  const radius = ringRadius(record.cap / 1000);
  if (radius === 0)
    return null;
  const drawing = svg('svg', { class: 'ring', viewBox: '-100 -100 200 200', 'aria-hidden': 'true' });
  for (const name of ['under', 'over'])
    drawing.append(svg('circle', { class: name, r: radius * 100 }));
  return drawing;
}

function compare(record) {
  const has = piece => record.pieces.includes(`nadir-${piece}`);
  const frame = make('div.compare', null);
  const picture = piece => {
    const image = make(`img.${piece}`, { alt: '', decoding: 'async', draggable: 'false' });
    frame.append(image);
    fill(image, record, `nadir-${piece}`);
    return image;
  };
  if (!has('before') && !has('after')) {
    frame.classList.add('empty');
    return frame;
  }
  if (has('before'))
    picture('before').alt = has('after') ? '' : `${record.name}, straight down, as shot`;
  if (has('after'))
    picture('after').alt = has('before') ? '' : `${record.name}, straight down, the result`;
  const drawn = ring(record);
  if (drawn !== null)
    frame.append(drawn);
  if (has('before'))
    frame.append(make('span.tag.left', { 'aria-hidden': 'true' }, 'before'));
  if (has('after'))
    frame.append(make('span.tag.right', { 'aria-hidden': 'true' }, 'after'));
  if (has('before') && has('after'))
    addSlider(frame, record);
  return frame;
}

function addSlider(frame, record) {
  const slider = make('input', {
    type: 'range', min: 0, max: 100, step: 1, value: 50,
    'aria-label': `Before and after, straight down: ${record.name}`,
  });
  const follow = () => {
    frame.style.setProperty('--cut', slider.value / 100);
    slider.setAttribute('aria-valuetext', `${slider.value}% before, ${100 - slider.value}% after`);
    frame.classList.toggle('only-after', slider.value < 14);
    frame.classList.toggle('only-before', slider.value > 86);
  };
  slider.addEventListener('input', follow);
  frame.append(make('span.edge', { 'aria-hidden': 'true' }), slider);
  follow();
}
