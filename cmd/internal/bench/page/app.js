// The page: the list of bearings, one bearing, and what came of a photo.

import { ask, listen, Away } from './laptop.js';
import { make, shape, stateLine } from './dom.js';
import * as queue from './queue.js';
import { corrector } from './correct.js';

let build; // as the laptop last told
const answers = new Map(); // what came of the last photo, by bearing
const ticked = new Map(); // which preparation is done, by bearing
const places = new Map(); // where round the journal the strip lies, by bearing

const main = document.getElementById('main');

function bearingOf(name) {
  return build?.bearings.find((b) => b.name === name);
}

// show draws the page of the address. Moved tells that the person went there, so
// that the focus goes along.
function show(moved) {
  if (!build) return;
  document.getElementById('build').textContent = build.name;
  const [, name] = location.hash.match(/^#\/b\/(.+)$/) ?? [];
  const bearing = name && bearingOf(decodeURIComponent(name));
  const answer = bearing && answers.get(bearing.name);
  const content = answer ? resultPage(bearing, answer) : bearing ? bearingPage(bearing) : listPage();
  const title = content.find((e) => e.tagName === 'H1');
  title.tabIndex = -1;
  document.title = `${title.textContent} - stripgap`;
  document.querySelector('.home').hidden = !bearing;
  main.replaceChildren(...content);
  if (moved) {
    title.focus();
    scrollTo(0, 0);
  }
}

function listPage() {
  const groups = [...new Set(build.bearings.map((b) => b.group))];
  return [
    make('h1', {}, 'Bearings'),
    ...build.hints.map((h) => make('p', { class: 'next' }, h)),
    ...groups.flatMap((g) => [
      make('h2', {}, g),
      make('ul', { class: 'list' }, build.bearings.filter((b) => b.group === g).map((b) => make('li', {},
        make('a', { href: `#/b/${encodeURIComponent(b.name)}` },
          shape(b.state),
          make('span', { class: 'name' }, b.name),
          make('span', { class: `word ${b.state}` }, b.word),
          b.clearance ? make('span', {}, b.clearance) : '')))),
    ]),
    make('h2', {}, 'Mind'),
    make('ul', { class: 'cautions' }, [...build.cautions, ...build.notes].map((c) => make('li', {}, c))),
  ];
}

function bearingPage(b) {
  return [
    make('h1', {}, `${b.group}: ${b.name}`),
    stateLine(b.state, b.word),
    b.clearance ? make('p', { class: 'figure' }, b.clearance) : '',
    ...b.waiting.map((answer) => make('button', { type: 'button', onclick: () => { answers.set(b.name, answer); show(true); } },
      `Look at the reading that waits: ${answer.mean}`)),
    ...b.verdicts.map((v) => stateLine(v.state, v.text)),
    make('p', { class: 'next' }, `Next: ${b.next}`),
    ...b.flags.map((f) => make('p', {}, f)),
    make('h2', {}, 'Before the photo'),
    preparation(b),
    positions(b),
    camera(b, 'Take the photo', 'main'),
    picker(b),
    b.readings.length ? make('h2', {}, 'Accepted readings') : '',
    ...b.readings.map((r) => reading(r)),
  ].filter((e) => e !== '');
}

function preparation(b) {
  const done = ticked.get(b.name) ?? new Set();
  ticked.set(b.name, done);
  return make('ul', { class: 'steps' }, b.prepare.map((step) => make('li', {}, make('label', {},
    make('input', { type: 'checkbox', checked: done.has(step), onchange: (e) => done[e.target.checked ? 'add' : 'delete'](step) }),
    make('span', {}, step)))));
}

// positions lets choose where round the journal the strip lies.
function positions(b) {
  if (!b.positions.length) return '';
  const read = new Set(b.readings.map((r) => r.position));
  const first = places.get(b.name) ?? b.positions.find((p) => !read.has(p)) ?? b.positions[0];
  return make('fieldset', { class: 'positions' }, make('legend', {}, 'Where the strip lies round the journal'),
    b.positions.map((p) => make('label', {}, make('input', { type: 'radio', name: 'position', value: p, checked: p === first, onchange: () => places.set(b.name, p) }),
      `${p} degrees${read.has(p) ? ', read' : ''}`)));
}

function chosenPosition() {
  const chosen = document.querySelector('input[name=position]:checked');
  return chosen ? Number(chosen.value) : null;
}

// camera opens the phone's camera; a second photo goes with the first.
function camera(b, words, kind, first) {
  return make('label', { class: `camera ${kind}` }, words,
    make('input', { type: 'file', accept: 'image/*', capture: 'environment', onchange: (e) => take(b, e.target, first) }));
}

function picker(b) {
  return make('label', { class: 'camera' }, 'Choose a photo taken before',
    make('input', { type: 'file', accept: 'image/*,.heic,.heif', onchange: (e) => take(b, e.target) }));
}

function take(b, input, first) {
  const [file] = input.files;
  input.value = '';
  if (file) queue.add(b.name, first ? first.position ?? null : chosenPosition(), first?.id, file);
}

// photo shows a picture in a place that has its size before it comes.
function photo(picture, alt, more) {
  if (!picture) return '';
  return make('div', { class: 'photo' }, make('img', { src: picture.url, width: picture.width, height: picture.height, alt, ...more }));
}

function reading(r) {
  const where = r.position == null ? '' : ` at ${r.position} degrees`;
  return make('details', {}, make('summary', {}, `Reading ${r.number}${where}: ${r.text}`),
    photo(r.picture, `The strip's traced edges in the photo of reading ${r.number}`, { loading: 'lazy' }),
    make('button', { type: 'button', onclick: () => takeBack(r) }, `Take reading ${r.number} back`));
}

async function takeBack(r) {
  const reason = prompt(`Why is reading ${r.number} taken back? It stays in the log, with the reason.`);
  if (reason?.trim()) await attempt(() => ask(`/api/readings/${r.number}/withdraw`, { reason: reason.trim() }));
}

function resultPage(b, answer) {
  const figure = photo(answer.picture, answer.refused ? 'The photo, with what was found in it' : 'The photo with the traced edges of the strip and its two ends');
  const again = make('button', { type: 'button', onclick: () => letGo(b, answer) }, answer.refused ? 'Back to the bearing' : 'Take again');
  const parts = answer.refused ? [
    make('h1', {}, `${b.name}: not read`),
    make('div', { class: 'refused' }, make('p', {}, sentence(answer.refused.message)), make('p', { class: 'remedy' }, sentence(answer.refused.remedy))),
    figure,
    ...correction(b, answer, figure),
    ...(answer.first ? secondAgain(b, answer.first) : [camera(b, 'Take the photo again', 'main')]),
    again,
  ] : [
    make('h1', {}, `${b.name}: read`),
    answer.photos > 1 ? make('p', {}, 'From both photos together.') : '',
    make('p', { class: 'figure' }, answer.mean),
    ...(answer.verdicts ?? []).map((v) => stateLine(v.state, v.text)),
    make('dl', {}, (answer.ends ?? []).flatMap((e) => [make('dt', {}, `${e.name} end`), make('dd', {}, e.text)]),
      answer.taper ? [make('dt', {}, 'taper'), make('dd', {}, answer.taper)] : []),
    figure,
    make('p', { class: 'next' }, `After this: ${answer.next}`),
    ...(answer.flags ?? []).map((f) => make('p', {}, f)),
    answer.second ? make('p', { class: 'next' }, answer.second) : '',
    answer.second ? camera(b, 'Take the photo from the other side', 'other-side', answer) : '',
    make('div', { class: 'two' }, make('button', { class: 'main', type: 'button', onclick: () => accept(b, answer) }, 'Accept'), again),
    ...correction(b, answer, figure),
  ];
  return parts.filter((e) => e !== '');
}

// secondAgain offers ways on where the second of two photos did not do: the first is
// still there.
function secondAgain(b, first) {
  const reading = b.waiting.find((w) => w.id === first.id);
  return [
    camera(b, 'Take the second photo again', 'main', first),
    reading ? make('button', { type: 'button', onclick: () => { answers.set(b.name, reading); show(true); } },
      `Back to the first photo's reading: ${reading.mean}`) : '',
  ];
}

function sentence(words) {
  return words.charAt(0).toUpperCase() + words.slice(1) + '.';
}

// correction offers to drag on the picture and have the photo read again.
function correction(b, answer, figure) {
  if (!answer.sight || !figure) return [];
  const place = make('div', {});
  const begin = (kind) => {
    const points = corrector(figure, answer, kind);
    place.replaceChildren(
      make('p', {}, kind === 'ends' ? 'Drag the two rings to where the strip ends.' : 'Drag the two rings so that the frame holds the strip and nothing else like it.'),
      make('button', { class: 'main', type: 'button', onclick: () => attempt(async () => {
        answers.set(b.name, await ask(`/api/photos/${answer.id}/correct`, points()));
        show(true);
      }) }, 'Read again with this'),
      make('button', { type: 'button', onclick: () => show(true) }, 'Leave it as it is'));
    figure.scrollIntoView({ block: 'center' });
  };
  if (answer.ends?.length === 2) place.append(make('button', { type: 'button', onclick: () => begin('ends') }, 'Correct the ends'));
  place.append(make('button', { type: 'button', onclick: () => begin('zone') }, 'Show where to look'));
  return [place];
}

async function accept(b, answer) {
  await attempt(async () => {
    await ask(`/api/photos/${answer.id}/accept`, {});
    answers.delete(b.name);
    places.delete(b.name);
    await load();
    show(true);
  });
}

async function letGo(b, answer) {
  await attempt(async () => {
    if (answer.id) await ask(`/api/photos/${answer.id}/again`, {});
    answers.delete(b.name);
    await load();
    show(true);
  });
}

// attempt does something that may fail, and says how it did.
async function attempt(work) {
  const buttons = [...main.querySelectorAll('button')];
  buttons.forEach((e) => { e.disabled = true; });
  try {
    await work();
    if (here) say('');
  } catch (trouble) {
    say(trouble instanceof Away ? away : `${sentence(trouble.message)} ${sentence(trouble.remedy ?? '')}`);
  } finally {
    buttons.forEach((e) => { e.disabled = false; });
  }
}

const away = 'The laptop does not answer. Photos taken now wait on this phone and are sent when it is back.';
let here = true;

function say(words) {
  document.getElementById('line').textContent = words;
}

async function load() {
  build = await ask('/api/build');
}

// busy reports whether a redraw would take something out of the person's hands.
function busy() {
  return main.querySelector('.correcting') || answers.has(decodeURIComponent(location.hash.replace(/^#\/b\//, '')));
}

// redraw shows what the laptop told anew. Between a press and its release it waits: the
// button pressed would be another when it is let go, and the press lost.
let pressed = false;
let late = false;

function redraw() {
  late = pressed;
  if (!pressed && !busy()) show(false);
}

addEventListener('pointerdown', () => { pressed = true; });
for (const end of ['pointerup', 'pointercancel']) {
  addEventListener(end, () => {
    pressed = false;
    if (late) setTimeout(redraw, 300); // a touch is told as a click a moment later
  });
}

listen(async () => {
  try {
    await load();
    redraw();
  } catch (trouble) {
    say(trouble instanceof Away ? away : `${sentence(trouble.message)} ${sentence(trouble.remedy)}`);
  }
}, (answering) => {
  if (answering !== here || answering) {
    here = answering;
    say(here ? '' : away);
    if (here) queue.again();
  }
});

queue.start((item, answer) => {
  if (answer.number) {
    say(`The photo of ${item.bearing} was accepted before, as reading ${answer.number}.`);
    return;
  }
  // What is no photo at all leaves the first as it is, too.
  if (item.other && (answer.photos ? answer.first_stays : answer.refused.code !== 'not-held')) answer.first = { id: item.other, position: item.position };
  answers.set(item.bearing, answer);
  const hash = `#/b/${encodeURIComponent(item.bearing)}`;
  if (location.hash === hash) show(true);
  else location.hash = hash;
});

addEventListener('hashchange', () => show(true));
addEventListener('online', () => queue.again());
