// Corrects by dragging on the picture where the strip ends, or the zone to look in.

import { make, makeSVG } from './dom.js';

// apply maps a point by a 3 x 3 matrix, row by row.
function apply(m, [x, y]) {
  const w = m[6] * x + m[7] * y + m[8];
  return [(m[0] * x + m[1] * y + m[2]) / w, (m[3] * x + m[4] * y + m[5]) / w];
}

// inverse is, up to a factor that does not matter, the inverse matrix.
function inverse([a, b, c, d, e, f, g, h, i]) {
  return [e * i - f * h, c * h - b * i, b * f - c * e, f * g - d * i, a * i - c * g, c * d - a * f, d * h - e * g, b * g - a * h, a * e - b * d];
}

// zoneOf is where to begin: round the strip, or the middle of the picture.
function zoneOf(answer, cardFrom) {
  const { width, height } = answer.sight;
  const points = answer.ends?.length === 2 ? answer.ends.map((e) => e.card) :
    [[0.2, 0.2], [0.8, 0.2], [0.8, 0.8], [0.2, 0.8]].map(([x, y]) => apply(cardFrom, [x * width, y * height]));
  const room = answer.ends?.length === 2 ? 3 : 0; // mm
  const xs = points.map((p) => p[0]), ys = points.map((p) => p[1]);
  return [[Math.min(...xs) - room, Math.min(...ys) - room], [Math.max(...xs) + room, Math.max(...ys) + room]];
}

// corrector lays handles over the picture in figure; kind is "ends" or "zone". It
// returns what to send.
export function corrector(figure, answer, kind) {
  const { width, height, picture_from_card: pictureFrom } = answer.sight;
  const cardFrom = inverse(pictureFrom);
  const points = kind === 'ends' ? answer.ends.map((e) => [...e.card]) : zoneOf(answer, cardFrom);
  const names = kind === 'ends' ? answer.ends.map((e) => `${e.name} end`) : ['one corner of the zone', 'the other corner of the zone'];
  const drawing = makeSVG('svg', { viewBox: `0 0 ${width} ${height}`, 'aria-hidden': 'true' });
  const handles = names.map((name, n) => make('button', { class: 'handle', type: 'button', 'aria-label': `Move the ${name}; arrow keys move it too` }));

  function draw() {
    const corners = kind === 'ends' ? points :
      [points[0], [points[1][0], points[0][1]], points[1], [points[0][0], points[1][1]]];
    const text = corners.map((p) => apply(pictureFrom, p).join(',')).join(' ');
    drawing.replaceChildren(makeSVG('polygon', { points: text }), makeSVG('polygon', { points: text, class: 'over' }));
    handles.forEach((handle, n) => {
      const [x, y] = apply(pictureFrom, points[n]);
      handle.style.left = `${100 * x / width}%`;
      handle.style.top = `${100 * y / height}%`;
    });
  }

  // move takes a handle to a place in the picture and never out of it.
  function move(n, x, y) {
    points[n] = apply(cardFrom, [Math.min(width, Math.max(0, x)), Math.min(height, Math.max(0, y))]);
    draw();
  }

  handles.forEach((handle, n) => {
    handle.addEventListener('pointerdown', (e) => {
      handle.setPointerCapture(e.pointerId);
      e.preventDefault();
    });
    handle.addEventListener('pointermove', (e) => {
      if (!handle.hasPointerCapture(e.pointerId)) return;
      const box = figure.querySelector('img').getBoundingClientRect();
      move(n, (e.clientX - box.left) / box.width * width, (e.clientY - box.top) / box.height * height);
    });
    handle.addEventListener('keydown', (e) => {
      const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[e.key];
      if (!step) return;
      e.preventDefault();
      const [x, y] = apply(pictureFrom, points[n]);
      const far = width / 200 * (e.shiftKey ? 10 : 1);
      move(n, x + step[0] * far, y + step[1] * far);
    });
  });
  figure.classList.add('correcting');
  figure.append(drawing, ...handles);
  draw();
  handles[0].focus();
  return () => kind === 'ends' ? { ends: points } :
    { zone: [Math.min(points[0][0], points[1][0]), Math.min(points[0][1], points[1][1]), Math.max(points[0][0], points[1][0]), Math.max(points[0][1], points[1][1])] };
}
