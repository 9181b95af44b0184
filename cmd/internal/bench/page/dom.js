// Makes elements. Text goes in as text: nothing that comes from the laptop is markup.

export function make(tag, attributes = {}, ...children) {
  const e = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith('on')) e.addEventListener(name.slice(2), value);
    else if (value === true) e.setAttribute(name, '');
    else if (value !== false && value != null) e.setAttribute(name, value);
  }
  e.append(...children.flat().filter((c) => c != null && c !== ''));
  return e;
}

export function makeSVG(tag, attributes = {}, ...children) {
  const e = document.createElementNS('http://www.w3.org/2000/svg', tag);
  for (const [name, value] of Object.entries(attributes)) e.setAttribute(name, value);
  e.append(...children);
  return e;
}

// shape draws what a state looks like beside its word: an open ring, a disc with a
// tick, a square with a cross, a triangle with a bar.
export function shape(state) {
  const parts = {
    todo: [['circle', { cx: 16, cy: 16, r: 13 }]],
    good: [['circle', { cx: 16, cy: 16, r: 13, class: 'full' }], ['path', { d: 'M9 16l5 5 9-10', class: 'cut' }]],
    outside: [['rect', { x: 3, y: 3, width: 26, height: 26, class: 'full' }], ['path', { d: 'M9 9l14 14M23 9L9 23', class: 'cut' }]],
    step: [['path', { d: 'M16 3L30 28H2z', class: 'full' }], ['path', { d: 'M16 12v8M16 22v4', class: 'cut' }]],
  }[state];
  return makeSVG('svg', { class: `shape ${state}`, viewBox: '0 0 32 32', 'aria-hidden': 'true' },
    ...parts.map(([tag, attributes]) => makeSVG(tag, attributes)));
}

export function stateLine(state, words) {
  return make('p', { class: 'state' }, shape(state), make('span', { class: `word ${state}` }, words));
}
