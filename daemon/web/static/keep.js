// Keeps forms on the telephone until there is a signal, and the pages of the
// clocks last seen. This file is both the script of the pages and the service
// worker under /clock/. Every page works without it.
'use strict';
(() => {
const pages = 'endshake-pages', files = 'endshake-files';
const mostPages = 120, mostFiles = 24; // kept on a telephone
const patience = 15000; // ms for an answer, in a tower with a weak signal

// The forms that wait, by their keys. The key makes a form single: the service
// logs it once, however often it is sent.
function open() {
  return new Promise((ok, no) => {
    const r = indexedDB.open('endshake', 1);
    r.onupgradeneeded = () => r.result.createObjectStore('form', {keyPath: 'key'});
    r.onsuccess = () => ok(r.result);
    r.onerror = () => no(r.error);
  });
}
async function use(mode, what) {
  const db = await open();
  try {
    return await new Promise((ok, no) => {
      const t = db.transaction('form', mode, {durability: 'strict'});
      const r = what(t.objectStore('form'));
      t.oncomplete = () => ok(r.result);
      t.onabort = t.onerror = () => no(t.error);
    });
  } finally { db.close(); }
}
const put = form => use('readwrite', s => s.put(form));
const drop = key => use('readwrite', s => s.delete(key));
const waiting = () => use('readonly', s => s.getAll());

function within(ms, promise) {
  return Promise.race([promise, new Promise((_, no) => setTimeout(() => no(new Error('no answer')), ms))]);
}

async function remember(name, most, address, answer) {
  const c = await caches.open(name);
  await c.delete(address); // so that the oldest stand first
  await c.put(address, answer);
  const keys = await c.keys();
  await Promise.all(keys.slice(0, Math.max(0, keys.length - most)).map(k => c.delete(k)));
}

const words = t => new Date(t).toLocaleString('en-GB', {day: 'numeric', month: 'short', hour: '2-digit', minute: '2-digit'});

if (typeof document === 'undefined') worker(); else page();

// The service worker: it sends the forms of the clocks' pages, and keeps those
// that get no answer.
function worker() {
  const sends = path => /^\/clock\/[^/]+\/(do\/[^/]+|log|card\/entry)$/.test(path);
  const shows = path => /^\/clock\/[^/]+(\/do\/[^/]+)?$/.test(path);
  self.addEventListener('install', () => self.skipWaiting());
  self.addEventListener('activate', e => e.waitUntil(self.clients.claim()));
  self.addEventListener('fetch', e => {
    const r = e.request, u = new URL(r.url);
    if (u.origin !== self.location.origin) return;
    if (r.mode === 'navigate' && r.method === 'POST' && sends(u.pathname)) e.respondWith(send(r, u));
    else if (r.mode === 'navigate' && r.method === 'GET' && shows(u.pathname)) e.respondWith(look(r, u));
    else if (r.method === 'GET' && u.pathname.startsWith('/static/')) e.respondWith(file(r));
  });

  async function send(request, u) {
    const at = Date.now();
    const form = await request.clone().formData();
    let answer, why = 'It will be sent when there is a signal.';
    try {
      answer = await within(patience, fetch(request));
    } catch (_) { /* no signal, or the answer was lost */ }
    const key = form.get('key');
    if (answer && answer.status !== 401) {
      if (answer.type === 'opaqueredirect' && key) await drop(key).catch(() => {}); // it is logged
      return answer;
    }
    if (answer) why = 'You are not logged in. It will be sent once you have logged in.';
    const kept = {key: key || crypto.randomUUID(), action: u.pathname + u.search, at, words: form.get('words') || 'A form',
      values: [...form].filter(([n, v]) => n !== 'words' && !(v instanceof Blob && v.size === 0))};
    try {
      await put(kept);
    } catch (_) {
      return answer || html('Not kept', 'This phone has no room left for it, and there is no signal. Go back: the form is as you filled it in.', '');
    }
    return html('Kept on this phone', why, kept.words + ', ' + words(at) + '. You can close this page.', answer ? '/login?to=' + encodeURIComponent(u.pathname) : '');
  }

  async function look(request, u) {
    try {
      const answer = await within(patience, fetch(request));
      if (answer.ok && answer.type === 'basic' && !answer.redirected) await remember(pages, mostPages, request.url, answer.clone()).catch(() => {});
      return answer;
    } catch (_) {
      const c = await caches.open(pages);
      const hit = await c.match(request.url) || await c.match(u.origin + u.pathname);
      if (!hit) return html('No signal', 'This page was not kept on this phone. Come back to it when there is a signal, or write on the card.', '');
      const text = await hit.text(), seen = hit.headers.get('Date');
      const line = '<p class="logged" role="status">No signal. This page is as it was on ' + words(Date.parse(seen)) + '; its forms can be filled in all the same.</p>';
      return new Response(text.replace('<body', '<body data-kept').replace(/<main[^>]*>/, m => m + line), {headers: hit.headers});
    }
  }

  async function file(request) {
    const hit = await caches.match(request.url);
    if (hit) return hit;
    const answer = await fetch(request);
    if (answer.ok) await remember(files, mostFiles, request.url, answer.clone()).catch(() => {});
    return answer;
  }

  // A page of our own, in the style last seen.
  async function html(head, lede, more, login) {
    const c = await caches.open(files);
    const css = (await c.keys()).map(k => new URL(k.url).pathname).filter(p => p.endsWith('.css')).pop();
    const safe = s => s.replace(/[&<>"]/g, x => '&#' + x.charCodeAt(0) + ';');
    const body = '<!doctype html><html lang="en-GB"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">' +
      '<title>' + head + ' · endshake</title>' + (css ? '<link rel="stylesheet" href="' + css + '">' : '') +
      '<script src="' + self.location.pathname + '" defer></script></head><body' + (head.startsWith('Kept') ? ' data-own' : '') + '><header class="top"><p class="mark"><a href="/">endshake</a></p></header>' +
      '<main id="main"><h1>' + head + '</h1><p class="lede logged" role="status">' + head + '. ' + lede + '</p><p class="said">' + safe(more) + '</p>' +
      (login ? '<p class="do"><a class="first" href="' + safe(login) + '">Log in</a></p>' : '') + '</main></body></html>';
    return new Response(body, {headers: {'Content-Type': 'text/html; charset=utf-8', 'Cache-Control': 'no-store',
      'Content-Security-Policy': "default-src 'none'; style-src 'self'; img-src 'self' data:; script-src 'self'; connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"}});
  }
}

// The pages: they make their forms ready to be kept, show what waits, and send it.
function page() {
  const script = document.currentScript.src;
  const own = 'own' in document.body.dataset; // a page of the service worker's
  let note = ''; // what became of the last try
  if ('serviceWorker' in navigator) navigator.serviceWorker.register(script, {scope: '/clock/'}).then(stock).catch(() => {});

  // stock keeps what the pages under /clock/ look like, and the quick forms that
  // this page leads to, before they are asked for without a signal.
  async function stock() {
    const c = await caches.open(files);
    for (const e of document.querySelectorAll('link[rel=stylesheet]')) if (!await c.match(e.href)) await c.add(e.href);
    if (!await c.match(script)) await c.add(script);
    if (!location.pathname.startsWith('/clock/') || 'kept' in document.body.dataset) return;
    const p = await caches.open(pages);
    const links = new Set([...document.querySelectorAll('nav a[href*="/do/"], .tasks a[href*="/do/"]')].map(a => a.href));
    for (const href of [location.href.split('#')[0], ...links].slice(0, 24)) {
      const hit = await p.match(href);
      if (hit && Date.now() - Date.parse(hit.headers.get('Date')) < 6 * 3600e3) continue;
      const answer = await fetch(href);
      if (answer.ok && !answer.redirected) await remember(pages, mostPages, href, answer);
    }
  }

  for (const form of document.querySelectorAll('form[data-made]')) {
    const at = form.elements.at, key = form.elements.key;
    // A page that was kept comes with the key and the time that it had then.
    if (!('refused' in form.dataset) && window.crypto && crypto.randomUUID) key.value = crypto.randomUUID();
    const late = Date.now() - Number(form.dataset.made);
    if (at && at.value && 'kept' in document.body.dataset && late > 0) {
      const t = new Date(Date.parse(at.value + 'Z') + late);
      at.value = at.defaultValue = t.toISOString().slice(0, 16);
    }
    form.addEventListener('submit', () => {
      add(form, 'words', document.title.replace(/ · endshake$/, '').replace(/^Not logged yet: /, ''));
      if (at && at.value === at.defaultValue && !('refused' in form.dataset)) { // now, also where it is sent later
        add(form, 'ago', '0');
        at.value = '';
      }
    });
  }
  window.addEventListener('pageshow', e => { // come back to with the arrow of the browser
    if (e.persisted) for (const at of document.querySelectorAll('form[data-made] [name=at]')) if (!at.value) at.value = at.defaultValue;
  });
  for (const out of document.querySelectorAll('form[action="/logout"]')) out.addEventListener('submit', () => { caches.delete(pages); });

  function add(form, name, value) {
    (form.querySelector('input[type=hidden][name=' + name + ']') || hidden(form, name)).value = value;
  }
  function hidden(form, name) {
    const e = document.createElement('input');
    e.type = 'hidden';
    e.name = name;
    return form.appendChild(e);
  }

  // sendAll sends what waits, one after the other, in one window at a time.
  // What asks for it meanwhile has it done once more: the signal has come back.
  let going = false, again = false;
  async function sendAll() {
    again = true;
    if (going) return;
    going = true;
    const go = async () => {
      for (const f of (await waiting()).filter(f => !f.refused)) if (!await sendOne(f)) break;
      await show();
    };
    try {
      while (again) {
        again = false;
        if (navigator.locks) await navigator.locks.request('endshake-send', go); else await go();
      }
    } finally { going = false; }
  }

  // sendOne reports whether the next may be tried.
  async function sendOne(f) {
    let answer;
    try {
      answer = await within(4 * patience, fetch(f.action, {method: 'POST', body: bodyOf(f)}));
    } catch (_) {
      note = 'There is no signal yet.';
      return false;
    }
    const to = new URL(answer.url).pathname;
    if (answer.status === 401 || answer.redirected && to === '/login') {
      note = 'login';
      return false;
    }
    if (answer.redirected && answer.ok) {
      await drop(f.key);
      note = 'Sent: ' + f.words + '.';
      return true;
    }
    if (answer.status >= 500 || answer.status === 429 || answer.status === 408) {
      note = 'The service does not answer as it should. It is tried again.';
      return false;
    }
    const doc = new DOMParser().parseFromString(await answer.text(), 'text/html');
    const said = [...doc.querySelectorAll('.refusal li, .refusal > p:not(.fine)')].map(e => e.textContent.trim());
    if (!said.length) said.push(...[...doc.querySelectorAll('main h1, main p')].map(e => e.textContent.trim()));
    f.refused = said.join(' ').replace(/\s+/g, ' ') || 'It was refused.';
    await put(f);
    return true;
  }

  function valuesOf(f) {
    return f.values.map(([n, v]) => [n, n === 'ago' ? String((Date.now() - f.at) / 1000) : v]);
  }
  function bodyOf(f) {
    const parts = f.values.some(([, v]) => v instanceof Blob), body = parts ? new FormData() : new URLSearchParams();
    for (const [n, v] of valuesOf(f)) body.append(n, v);
    return body;
  }

  // mend opens a refused form as it was filled in, by sending it as a form is.
  function mend(f) {
    const form = document.createElement('form');
    form.method = 'post';
    form.action = f.action;
    for (const [n, v] of valuesOf(f)) if (!(v instanceof Blob)) hidden(form, n).value = v;
    document.body.append(form);
    form.submit();
  }

  const element = (name, text, parent) => {
    const e = document.createElement(name);
    e.textContent = text;
    if (parent) parent.append(e);
    return e;
  };
  const button = (text, parent, press) => {
    const b = element('button', text, parent);
    b.type = 'button';
    b.addEventListener('click', press);
    return b;
  };

  // show says what waits on this phone and what was refused.
  async function show() {
    const list = await waiting();
    let box = document.getElementById('kept');
    if (!list.length && !note.startsWith('Sent')) {
      if (box) box.remove();
      return;
    }
    if (!box) {
      box = document.createElement('section');
      box.id = 'kept';
      box.className = 'kept';
      box.setAttribute('aria-live', 'polite');
      if (own) document.querySelector('main').append(box); else document.querySelector('main').prepend(box);
    }
    box.replaceChildren();
    const waits = list.filter(f => !f.refused);
    if (own && !list.length) { // the page said that it is kept
      document.querySelector('h1').textContent = 'Sent';
      document.querySelector('main .lede').textContent = note;
      document.querySelector('main .said').textContent = '';
      box.remove();
      return;
    }
    if (waits.length && !own) {
      element('p', 'Kept on this phone. It will be sent when there is a signal.', box).className = 'lede';
    }
    if (waits.length && !(own && waits.length === 1)) {
      if (own) element('p', 'Kept on this phone in all:', box);
      const ul = element('ul', '', box);
      for (const f of waits) element('li', f.words + ', ' + words(f.at), ul);
    }
    if (note === 'login') {
      const p = element('p', 'You are not logged in: nothing is lost. ', box);
      element('a', 'Log in, and it is sent', p).href = '/login?to=' + encodeURIComponent(location.pathname);
    } else if (note) element('p', note, box);
    if (waits.length) {
      const p = element('p', '', box);
      p.className = 'do';
      button('Send it now', p, sendAll);
    }
    for (const f of list.filter(f => f.refused)) {
      element('p', 'Not logged: ' + f.words + ', ' + words(f.at) + '. ' + f.refused, box).className = 'fault';
      const p = element('p', '', box);
      p.className = 'do';
      button('Open it to mend', p, () => mend(f));
      button('Send it again', p, async () => { delete f.refused; await put(f); await sendAll(); });
      button('Throw it away', p, async () => { await drop(f.key); await show(); });
    }
  }

  window.addEventListener('online', sendAll);
  document.addEventListener('visibilitychange', () => { if (!document.hidden) sendAll(); });
  setInterval(async () => { if ((await waiting()).some(f => !f.refused)) sendAll(); }, 60000);
  if (window.indexedDB) show().then(sendAll).catch(() => {});
}
})();
