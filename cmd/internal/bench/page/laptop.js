// Talks with the laptop.

// Trouble is an answer that says what is wrong and what to do.
export class Trouble extends Error {
  constructor(status, trouble, retryAfter) {
    super(trouble?.message ?? 'the laptop gave an answer that makes no sense');
    this.status = status;
    this.code = trouble?.code ?? '';
    this.remedy = trouble?.remedy ?? 'load the page again';
    this.retryAfter = retryAfter;
  }
}

// Away means that there was no answer at all.
export class Away extends Error {}

export async function ask(path, body) {
  let response;
  try {
    response = await fetch(path, body === undefined ? {} :
      { method: 'POST', headers: { 'Content-Type': 'application/json' }, body: JSON.stringify(body) });
  } catch {
    throw new Away();
  }
  const answer = await response.json().catch(() => ({}));
  if (!response.ok) throw new Trouble(response.status, answer.trouble, Number(response.headers.get('Retry-After')));
  return answer;
}

// send uploads a photo and tells how much of it is through, from 0 to 1.
export function send(item, progress) {
  const form = new FormData();
  form.append('bearing', item.bearing);
  if (item.position != null) form.append('position', String(item.position));
  if (item.other) form.append('other', item.other);
  form.append('photo', item.photo, 'photo');
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    request.open('POST', '/api/photos');
    request.responseType = 'json';
    request.upload.onprogress = (e) => e.lengthComputable && progress(e.loaded / e.total);
    request.onerror = request.ontimeout = request.onabort = () => reject(new Away());
    request.onload = () => {
      if (request.status === 200) resolve(request.response);
      else reject(new Trouble(request.status, request.response?.trouble, Number(request.getResponseHeader('Retry-After'))));
    };
    request.send(form);
  });
}

// listen calls changed at every change of the build, and here with whether the
// laptop answers.
export function listen(changed, here) {
  const events = new EventSource('/api/events');
  events.onopen = () => here(true);
  events.onerror = () => {
    here(false);
    if (events.readyState === EventSource.CLOSED) setTimeout(() => listen(changed, here), 3000);
  };
  events.onmessage = () => changed();
}
