// Photos on their way to the laptop. One that does not get through stays, also when
// the page is loaded again, and is sent again when the laptop answers.

import { send, Away } from './laptop.js';
import { make } from './dom.js';

const items = [];
let store; // the browser's own, absent where it allows none
let running = false;
let shown = () => {};
let wake = () => {};

function open() {
  return new Promise((resolve) => {
    let request;
    try {
      request = indexedDB.open('stripgap', 1);
    } catch {
      resolve(undefined);
      return;
    }
    request.onupgradeneeded = () => request.result.createObjectStore('photos', { keyPath: 'id' });
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => resolve(undefined);
  });
}

function keep(item) {
  store?.transaction('photos', 'readwrite').objectStore('photos').put(item);
}

function forget(item) {
  items.splice(items.indexOf(item), 1);
  store?.transaction('photos', 'readwrite').objectStore('photos').delete(item.id);
}

// start takes up what an earlier page left and calls show with every answer.
export async function start(show) {
  shown = show;
  store = await open();
  if (store) {
    const left = await new Promise((resolve) => {
      const request = store.transaction('photos').objectStore('photos').getAll();
      request.onsuccess = () => resolve(request.result);
      request.onerror = () => resolve([]);
    });
    items.push(...left);
  }
  run();
}

// add queues a photo of a bearing. It is read into memory at once: a file may be
// gone by the time that it is sent again.
export async function add(bearing, position, other, file) {
  const photo = new Blob([await file.arrayBuffer()], { type: file.type });
  const item = { id: `${Date.now()}-${Math.random()}`, bearing, position, other, photo };
  items.push(item);
  keep(item);
  run();
}

// again tries at once what waits.
export function again() {
  wake();
}

function pause(seconds) {
  return new Promise((resolve) => {
    const timer = setTimeout(resolve, 1000 * seconds);
    wake = () => { clearTimeout(timer); resolve(); };
  });
}

async function run() {
  if (running) return;
  running = true;
  while (items.length > 0) {
    const item = items[0];
    try {
      say(`Sending the photo of ${item.bearing}`, 0);
      const answer = await send(item, (part) => say(part < 1 ? `Sending the photo of ${item.bearing}` : `Reading the photo of ${item.bearing}`, part));
      forget(item);
      say('');
      shown(item, answer);
    } catch (trouble) {
      if (trouble instanceof Away) {
        say(`The photo of ${item.bearing} waits on this phone. It is sent again when the laptop answers.`);
        await pause(3);
      } else if (trouble.status === 429 || trouble.status === 503) {
        say(`Other photos are being read. The photo of ${item.bearing} is sent again in a moment.`);
        await pause(trouble.retryAfter || 2);
      } else {
        forget(item);
        say('');
        shown(item, { bearing: item.bearing, refused: { code: trouble.code, message: trouble.message, remedy: trouble.remedy } });
      }
    }
  }
  running = false;
}

let bar;
function say(words, part) {
  const place = document.getElementById('queue');
  if (!words) {
    place.replaceChildren();
    bar = undefined;
    return;
  }
  const more = items.length > 1 ? ` (${items.length} photos wait)` : '';
  if (bar?.words !== words + more) {
    bar = { words: words + more, progress: part === undefined ? null : make('progress', { max: 1, 'aria-label': words }) };
    place.replaceChildren(make('div', {}, make('p', {}, words + more), bar.progress));
  }
  if (bar.progress) {
    if (part < 1) bar.progress.value = part;
    else bar.progress.removeAttribute('value'); // being read: no telling how long
  }
}
