// Keeps forms on the telephone until the service says that they are logged, and
// the pages of the clocks last seen. This file is both the script of the pages
// and the service worker over all of them. Every page works without it.
'use strict';
(() => {
const pages = 'endshake-pages', files = 'endshake-files';
const mostPages = 120, mostFiles = 24; // kept on a telephone
const patience = 15000; // ms for an answer that somebody looks for, in a tower with a weak signal

// The forms that wait, by their keys. The key makes a form single: the service
// logs it once, however often it is sent. Each is of whoever filled it in, and
// goes under no other login.
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
const find = key => use('readonly', s => s.get(key));
const waiting = () => use('readonly', s => s.getAll());

const noAnswer = 'no answer';
function within(ms, promise) {
  return Promise.race([promise, new Promise((_, no) => setTimeout(() => no(new Error(noAnswer)), ms))]);
}

async function remember(name, most, address, answer) {
  const c = await caches.open(name);
  await c.delete(address); // so that the oldest stand first
  await c.put(address, answer);
  const keys = await c.keys();
  await Promise.all(keys.slice(0, Math.max(0, keys.length - most)).map(k => c.delete(k)));
}

// onlyOf forgets the pages that were kept where they are somebody else's. Those
// that are kept are always of one reader.
async function onlyOf(whose) {
  const of = await keptOf();
  if (of !== null && of !== whose) await caches.delete(pages);
}
async function keptOf() {
  const c = await caches.open(pages), first = (await c.keys())[0];
  return first ? (await c.match(first)).headers.get('Endshake-Whose') || '' : null;
}

// alone has one form sent at a time, over all windows. Where it is not to wait
// for others, go is told null.
function alone(go, options = {}) {
  return navigator.locks ? navigator.locks.request('endshake-send', options, go) : go({});
}

function valuesOf(f) {
  return f.values.map(([n, v]) => [n, n === 'ago' ? String((Date.now() - f.at) / 1000) : v]);
}
const picturesOf = f => f.values.map(([, v]) => v).filter(v => v instanceof Blob);

// send sends a form, and says what came of it: "logged", and only where the
// service says so of its key; "refused", with the page that says why; "login",
// where nobody is logged in any more, and "other", where somebody else is; or why
// it is to be sent later.
async function send(f, most) {
  const body = picturesOf(f).length ? new FormData() : new URLSearchParams();
  for (const [n, v] of valuesOf(f)) body.append(n, v);
  const stop = new AbortController(), late = setTimeout(() => stop.abort(), most);
  let answer, text;
  try {
    answer = await fetch(f.action, {method: 'POST', body, headers: {'Endshake-Keeps': '1'}, redirect: 'manual', cache: 'no-store', signal: stop.signal});
    text = await answer.text();
  } catch (_) {
    return {is: stop.signal.aborted ? 'slow' : 'silent'};
  } finally { clearTimeout(late); }
  const whose = answer.headers.get('Endshake-Whose');
  if (answer.status === 201 && answer.headers.get('Endshake-Logged') === f.key) return {is: 'logged', to: answer.headers.get('Location') || ''};
  if (answer.status >= 500 || answer.status === 429 || answer.status === 408) return {is: 'ill'};
  if (answer.status === 413 && whose === null) return {is: 'refused', said: 'The pictures are too large for the way to the service. Send it without them, or with smaller ones.'};
  if (whose === null) return {is: 'strange'}; // a page of the network, or of what stands between
  if (answer.status === 401 || whose === '') return {is: 'login'};
  if (whose !== f.whose) return {is: 'other'};
  if (answer.status < 400) return {is: 'strange'};
  return {is: 'refused', said: said(text), page: new Response(text, {status: answer.status, headers: answer.headers})};
}

// said is what a page says of why a form is not logged, without what is to be
// answered there.
function said(text) {
  const part = (/<div class="refusal"[^]*?<\/div>/.exec(text) || /<main[^]*<\/main>/.exec(text) || [''])[0];
  const lines = part.match(/<(li|h1|p(?! class="(?:fine|lost|asks)"))\b[^>]*>[^]*?<\/(li|h1|p)>/g) || [];
  const plain = lines.join(' ').replace(/<[^>]*>/g, '').replace(/&#(\d+);/g, (_, n) => String.fromCharCode(n));
  return plain.replace(/&lt;/g, '<').replace(/&gt;/g, '>').replace(/&quot;/g, '"').replace(/&amp;/g, '&').replace(/\s+/g, ' ').trim() || 'It was refused.';
}

// brief is the first sentence of it: the rest stands on the form, once it is open.
const brief = s => (/^[^]*?[.?!](?=\s|$)/.exec(s) || [s])[0];

// reasons are why a form waits, by what came of it.
const reasons = {
  silent: 'There is no signal. It will be sent when there is one.',
  slow: 'No answer came in time: the signal is weak. It is tried again.',
  ill: 'The service does not answer as it should. It is tried again.',
  strange: 'Something else answered in the place of the service: this network may want a login of its own. It is tried again.',
  queue: 'It is sent after what waits before it.',
  login: 'You are not logged in. It will be sent once you have logged in.',
  other: 'Another login is in use here now. It will be sent once whoever filled it in has logged in again.',
};

const words = t => new Date(t).toLocaleString('en-GB', {day: 'numeric', month: 'short', hour: '2-digit', minute: '2-digit'});

if (typeof document === 'undefined') worker(); else page();

// The service worker: it sends the forms of the clocks' pages, and keeps those
// that are not known to be logged.
function worker() {
  const sends = path => /^\/clock\/[^/]+\/(do\/[^/]+|log|card\/entry)$/.test(path);
  const done = path => /^\/clock\/[^/]+\/done\/[^/]+$/.test(path); // what is led to once something is logged
  const shows = path => /^\/clock\/[^/]+(\/do\/[^/]+)?$/.test(path);
  const leads = path => /^\/([a-z]*|clock\/.*)$/.test(path); // pages that are not kept
  self.addEventListener('install', () => self.skipWaiting());
  self.addEventListener('activate', e => e.waitUntil(self.clients.claim()));
  self.addEventListener('fetch', e => {
    const r = e.request, u = new URL(r.url);
    if (u.origin !== self.location.origin) return;
    if (r.mode === 'navigate' && r.method === 'POST' && sends(u.pathname)) e.respondWith(take(r, u));
    else if (r.mode === 'navigate' && r.method === 'GET' && shows(u.pathname)) e.respondWith(look(r, u));
    else if (r.mode === 'navigate' && r.method === 'GET' && done(u.pathname)) e.respondWith(fetch(r).catch(async () =>
      html('It is logged', 'What it moved cannot be shown: there is no signal now.', '', {whose: await keptOf()})));
    else if (r.mode === 'navigate' && r.method === 'GET' && r.destination === 'document' && leads(u.pathname)) e.respondWith(within(patience, fetch(r)).catch(e => instead(u, e)));
    else if (r.method === 'GET' && u.pathname.startsWith('/static/')) e.respondWith(file(r));
  });

  // take keeps a form before it is sent, and lets go of it once it is logged.
  async function take(request, u) {
    const form = await request.clone().formData();
    if (form.has('mend')) { // it is kept, and only to be shown
      return fetch(request).catch(() => html('No signal', 'What you filled in is kept on this phone. Open it to mend when there is a signal.', '', {whose: form.get('whose') || ''}));
    }
    const f = {key: form.get('key') || crypto.randomUUID(), whose: form.get('whose') || '', action: u.pathname + u.search, at: Date.now(), words: form.get('words') || 'A form',
      values: [...form].filter(([n, v]) => n !== 'words' && n !== 'key' && !(v instanceof Blob && v.size === 0))};
    f.values.unshift(['key', f.key]);
    const kept = await put(f).then(() => true, () => false);
    const got = await alone(async free => {
      const got = free ? await send(f, patience) : {is: 'queue'};
      if (got.is === 'logged') await drop(f.key).catch(() => {});
      if (got.is === 'refused') await put({...f, refused: got.said}).catch(() => {});
      return got;
    }, {ifAvailable: true});
    if (got.is === 'logged') return Response.redirect(new URL(got.to, u.origin).href, 303);
    if (got.page) return got.page;
    if (got.is === 'login' || got.is === 'other') await caches.delete(pages);
    if (!kept) return html('Not kept', 'This phone has no room left for it. ' + (reasons[got.is] || got.said).split('. ')[0] + '. Go back: the form is as you filled it in.', '', f);
    if (got.is === 'refused') return html('Not logged', got.said + ' It is kept on this phone.', '', f);
    return html('Kept on this phone', reasons[got.is], got.is === 'other' ? '' : f.words + ', since ' + words(f.at) + '. You can close this page.',
      {own: true, whose: got.is === 'other' ? '' : f.whose, login: got.is === 'login' || got.is === 'other' ? '/login?to=' + encodeURIComponent(u.pathname) : ''});
  }

  async function look(request, u) {
    try {
      const answer = await within(patience, fetch(request)), whose = answer.headers.get('Endshake-Whose');
      if (answer.ok && answer.type === 'basic' && !answer.redirected && whose) {
        await onlyOf(whose);
        await remember(pages, mostPages, request.url, answer.clone()).catch(() => {});
      }
      if (whose && [403, 404, 410].includes(answer.status)) await forget(u).catch(() => {});
      return answer;
    } catch (e) {
      const c = await caches.open(pages);
      const hit = await c.match(request.url) || await c.match(u.origin + u.pathname);
      if (!hit) return instead(u, e);
      const text = await hit.text(), seen = hit.headers.get('Date');
      const line = '<p class="logged" role="status">' + quiet(e) + '. This page is as it was on ' + words(Date.parse(seen)) + '; its forms can be filled in all the same.</p>';
      return new Response(text.replace('<body', '<body data-kept').replace(/<main[^>]*>/, m => m + line), {headers: hit.headers});
    }
  }

  // forget lets go of a page that its reader may not see any more; with that of a
  // clock go its forms.
  async function forget(u) {
    const c = await caches.open(pages);
    await Promise.all((await c.keys()).filter(k => (new URL(k.url).pathname + '/').startsWith(u.pathname + '/')).map(k => c.delete(k)));
  }

  // quiet says why nothing answered.
  const quiet = e => e.message === noAnswer ? 'No answer in time' : 'No signal';

  // instead is what an address answers without a signal of which nothing is kept:
  // what can be opened all the same, clock by clock.
  async function instead(u, e) {
    const c = await caches.open(pages), clocks = new Map();
    const keys = (await c.keys()).sort((a, b) => a.url < b.url ? -1 : 1); // a clock before its forms
    for (const k of keys) {
      const hit = await c.match(k);
      if (!hit) continue; // gone meanwhile
      const text = await hit.text(), at = new URL(k.url);
      const [, slug, form] = /^\/clock\/([^/]+)(\/do\/)?/.exec(at.pathname);
      const title = (/<title>([^<]*?)( · endshake)?<\/title>/.exec(text) || ['', ''])[1]; // as in the page: safe in this one
      const [, what, name] = /^(.*?), (.*)$/.exec(title) || ['', title, title];
      if (!clocks.has(slug)) clocks.set(slug, {name: form ? name : title, forms: []});
      const clock = clocks.get(slug), of = (/<p class="lede">([^<:]*):/.exec(text) || [])[1];
      if (!form) Object.assign(clock, {href: at.pathname, seen: words(Date.parse(hit.headers.get('Date')))});
      else clock.forms.push({href: at.pathname + at.search, what: at.search && of ? what + ': ' + of.toLowerCase() : what});
    }
    const attribute = s => s.replace(/&/g, '&amp;').replace(/"/g, '&quot;');
    const link = (href, what) => href ? '<a href="' + attribute(href) + '">' + what + '</a>' : what;
    const list = [...clocks.values()].map(k => '<li>' + link(k.href, k.name) + (k.seen ? ' <span class="at">as it was on ' + k.seen + '</span>' : '') +
      (k.forms.length ? '<ul>' + k.forms.map(f => '<li>' + link(f.href, f.what) + '</li>').join('') + '</ul>' : '') + '</li>').join('');
    const lede = list ? 'Your clocks, as they are kept on this phone. What you log is sent when there is a signal.'
      : 'No page of a clock is kept on this phone. Open the page of your clock once where there is a signal; until then write on the card.';
    return html(quiet(e), lede, '', {whose: await keptOf(), again: u.pathname + u.search, list});
  }

  async function file(request) {
    const hit = await caches.match(request.url);
    if (hit) return hit;
    const answer = await fetch(request);
    if (answer.ok) await remember(files, mostFiles, request.url, answer.clone()).catch(() => {});
    return answer;
  }

  // A page of our own, in the style last seen; of is for whom, whether it says
  // that a form is kept, where they log in, what they can open, and what they asked
  // for.
  async function html(head, lede, more, of) {
    const c = await caches.open(files);
    const css = (await c.keys()).map(k => new URL(k.url).pathname).filter(p => p.endsWith('.css')).pop();
    const safe = s => s.replace(/[&<>"]/g, x => '&#' + x.charCodeAt(0) + ';');
    const body = '<!doctype html><html lang="en-GB"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><meta name="color-scheme" content="light dark">' +
      '<title>' + head + ' · endshake</title>' + (css ? '<link rel="stylesheet" href="' + css + '">' : '') +
      '<script src="' + self.location.pathname + '" defer></script></head><body data-kept' + (of.own ? ' data-own' : '') + (of.whose ? ' data-whose="' + safe(of.whose) + '"' : '') +
      '><header class="top"><p class="mark"><a href="/">endshake</a></p></header>' +
      '<main id="main"><h1>' + head + '</h1><p class="lede logged" role="status">' + head + '. ' + safe(lede) + '</p><p class="said">' + safe(more) + '</p>' +
      (of.list ? '<ul class="offline">' + of.list + '</ul>' : '') + (of.again ? '<p class="do"><a href="' + safe(of.again) + '">Load this page again</a></p>' : '') +
      (of.login ? '<p class="do"><a class="first" href="' + safe(of.login) + '">Log in</a></p>' : '') + '</main></body></html>';
    return new Response(body, {headers: {'Content-Type': 'text/html; charset=utf-8', 'Cache-Control': 'no-store',
      'Content-Security-Policy': "default-src 'none'; style-src 'self'; img-src 'self' data:; script-src 'self'; connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"}});
  }
}

// The pages: they make their forms ready to be kept, show what waits, and send it.
function page() {
  const script = document.currentScript.src, data = document.body.dataset;
  const own = 'own' in data, kept = 'kept' in data; // of the service worker's making, or from what it kept
  const me = data.whose; // undefined: nobody is logged in
  let why = ''; // what became of the last try, where something waits
  let sent = []; // what this page saw sent
  if (!kept && window.caches) onlyOf(me).catch(() => {});
  if ('serviceWorker' in navigator) navigator.serviceWorker.register(script, {scope: '/'}).then(replace).then(stock).catch(() => {});

  // replace ends the worker of before, which looked after /clock/ alone, once this
  // one is at work.
  async function replace(now) {
    const next = now.installing || now.waiting;
    if (!now.active && next) await new Promise(ok => next.addEventListener('statechange', () => { if (next.state === 'activated' || next.state === 'redundant') ok(); }));
    if (!now.active) return;
    for (const old of await navigator.serviceWorker.getRegistrations()) if (new URL(old.scope).pathname === '/clock/') await old.unregister();
  }

  // stock keeps what the pages look like, and the quick forms that this page leads
  // to, before they are asked for without a signal. From the fleet it keeps the
  // clocks too, where they are few: whoever winds them opens that page at home.
  async function stock() {
    const c = await caches.open(files);
    for (const e of document.querySelectorAll('link[rel=stylesheet]')) if (!await c.match(e.href)) await c.add(e.href);
    if (!await c.match(script)) await c.add(script);
    const clock = location.pathname.startsWith('/clock/');
    if (!clock && location.pathname !== '/' || kept || !me) return;
    await onlyOf(me);
    const p = await caches.open(pages);
    const formsOf = d => [...d.querySelectorAll('nav a[href*="/do/"], .tasks a[href*="/do/"]')].map(a => new URL(a.getAttribute('href'), location.href).href);
    const clocks = [...document.querySelectorAll('.fleet th a')].map(a => a.href);
    const links = new Set(clock ? [location.href.split('#')[0], ...formsOf(document)] : clocks.length <= 3 ? clocks : []);
    let room = 24;
    for (const href of links) { // to which each clock adds its forms
      if (room-- === 0) return;
      let answer = await p.match(href);
      if (!answer || Date.now() - Date.parse(answer.headers.get('Date')) >= 6 * 3600e3) {
        answer = await fetch(href);
        if (!answer.ok || answer.redirected || answer.headers.get('Endshake-Whose') !== me) continue;
        await remember(pages, mostPages, href, answer.clone());
      }
      if (clocks.includes(href)) for (const f of formsOf(new DOMParser().parseFromString(await answer.text(), 'text/html'))) links.add(f);
    }
  }

  for (const form of document.querySelectorAll('form[data-made]')) {
    const at = form.elements.at, key = form.elements.key;
    // A page that was kept comes with the key and the time that it had then.
    if (!('refused' in form.dataset) && window.crypto && crypto.randomUUID) key.value = crypto.randomUUID();
    const late = Date.now() - Number(form.dataset.made);
    if (at && at.value && kept && late > 0) {
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
    if ('refused' in form.dataset && window.indexedDB) again(form).catch(() => {});
  }
  window.addEventListener('pageshow', e => { // come back to with the arrow of the browser
    if (e.persisted) for (const at of document.querySelectorAll('form[data-made] [name=at]')) if (!at.value) at.value = at.defaultValue;
  });
  for (const out of document.querySelectorAll('form[action="/logout"]')) out.addEventListener('submit', () => { caches.delete(pages); });

  // again puts the pictures back into a form that was refused.
  async function again(form) {
    const f = await find(form.elements.key.value), input = form.elements.picture;
    const pictures = f && f.whose === me ? picturesOf(f) : [];
    if (!input || !pictures.length || input.files.length) return;
    const all = new DataTransfer();
    for (const v of pictures) all.items.add(v instanceof File ? v : new File([v], 'picture.jpg', {type: v.type}));
    input.files = all.files;
    for (let e = input.closest('details'); e; e = e.parentElement.closest('details')) e.open = true;
    const says = element('p', pictures.length === 1 ? 'The picture that you chose is still here.' : 'The ' + pictures.length + ' pictures that you chose are still here.');
    says.className = 'hint still';
    input.after(says);
    for (const e of document.querySelectorAll('.lost')) e.textContent = says.textContent;
    input.addEventListener('change', () => says.remove());
  }

  function add(form, name, value) {
    (form.querySelector('input[type=hidden][name=' + name + ']') || hidden(form, name)).value = value;
  }
  function hidden(form, name) {
    const e = document.createElement('input');
    e.type = 'hidden';
    e.name = name;
    return form.appendChild(e);
  }

  // mine are the forms of whoever is logged in, but for one that this page shows
  // to be mended.
  async function mine() {
    const here = [...document.querySelectorAll('form[data-refused] [name=key]')].map(e => e.value);
    return (await waiting()).filter(f => me && f.whose === me && !here.includes(f.key));
  }

  // sendAll sends what waits, one after the other, in one window at a time.
  // What asks for it meanwhile has it done once more: the signal has come back.
  let going = false, more = false;
  async function sendAll() {
    more = true;
    if (going) return;
    going = true;
    const go = async () => {
      for (const f of (await mine()).filter(f => !f.refused)) if (!await sendOne(f)) break;
      await show();
    };
    try {
      while (more) {
        more = false;
        if ((await mine()).some(f => !f.refused)) await alone(go); else await show();
      }
    } finally { going = false; }
  }

  // sendOne reports whether the next may be tried. It has patience by the size of
  // the pictures, as long as the service has.
  async function sendOne(f) {
    const size = picturesOf(f).reduce((n, v) => n + v.size, 0);
    const got = await send(f, Math.min(300e3, 60e3 + size / 10));
    why = '';
    if (got.is === 'logged') {
      await drop(f.key);
      sent.push({...f, to: got.to});
      return true;
    }
    if (got.is === 'refused') {
      f.refused = got.said;
      await put(f);
      return true;
    }
    why = got.is;
    if (why === 'login' || why === 'other') await caches.delete(pages);
    return false;
  }

  // mend opens a refused form as it was filled in. It is sent as a form is, but to
  // be shown; its pictures stay on this phone and are put back into it.
  function mend(f) {
    const form = document.createElement('form');
    form.method = 'post';
    form.action = f.action;
    for (const [n, v] of valuesOf(f)) if (!(v instanceof Blob)) hidden(form, n).value = v;
    hidden(form, 'mend').value = '1';
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
    b.addEventListener('click', () => press(b));
    return b;
  };

  // show says what waits on this phone and since when, what was sent, and what was
  // refused. Of the forms of others it says no more than that there are some.
  async function show() {
    const list = await mine(), waits = list.filter(f => !f.refused), refused = list.filter(f => f.refused);
    const others = (await waiting()).some(f => f.whose !== me);
    let box = document.getElementById('kept'), fine = document.getElementById('kept-others');
    const main = document.querySelector('main');
    if (others && !fine && !own) {
      fine = element('p', me ? 'Forms of another login wait on this phone. They are sent when whoever filled them in has logged in here again.'
        : 'Forms that were filled in here wait on this phone. They are sent when whoever filled them in has logged in.');
      fine.id = 'kept-others';
      fine.className = me ? 'fine' : 'logged';
      if (me) main.append(fine); else main.prepend(fine);
    } else if (!others && fine) fine.remove();
    if (!list.length && !sent.length) {
      if (box) box.remove();
      return;
    }
    if (own && !list.length) { // the page said that it is kept
      document.querySelector('h1').textContent = 'Sent';
      main.querySelector('.lede').textContent = sent.map(saySent).join(' ');
      main.querySelector('.said').textContent = '';
      for (const e of [box, main.querySelector('.do')]) if (e) e.remove();
      linkTo(sent[sent.length - 1], main);
      return;
    }
    if (!box) {
      box = document.createElement('section');
      box.id = 'kept';
      box.className = 'kept';
      box.setAttribute('aria-live', 'polite');
      if (own) main.append(box); else main.prepend(box);
    }
    const now = JSON.stringify([why, sent.length, list.map(f => [f.key, f.refused])]);
    if (box.dataset.shows === now) return; // what somebody is about to press stays
    box.dataset.shows = now;
    box.replaceChildren();
    for (const f of sent) linkTo(f, element('p', saySent(f) + ' ', box));
    if (waits.length && !own) element('p', 'Kept on this phone. ' + (reasons[why] || 'It will be sent when there is a signal.'), box).className = 'lede';
    else if (waits.length && why) element('p', reasons[why], box);
    if (waits.length && !(own && waits.length === 1)) {
      if (own) element('p', 'Kept on this phone in all:', box);
      const ul = element('ul', '', box);
      for (const f of waits) element('li', f.words + ', since ' + words(f.at), ul);
    }
    if (waits.length) {
      const p = element('p', '', box);
      p.className = 'do';
      if (why === 'login' || why === 'other') {
        const a = element('a', 'Log in, and it is sent', p);
        a.href = '/login?to=' + encodeURIComponent(location.pathname);
      } else button('Send it now', p, b => { b.textContent = 'It is being sent'; b.disabled = true; box.dataset.shows = ''; sendAll(); });
    }
    for (const f of refused) {
      element('p', 'Not logged: ' + f.words + ', since ' + words(f.at) + '. ' + brief(f.refused), box).className = 'fault';
      const p = element('p', '', box);
      p.className = 'do';
      button('Open it to mend', p, () => mend(f));
      button('Send it again', p, async () => { delete f.refused; await put(f); await sendAll(); });
      button('Throw it away', p, async b => {
        if (b.textContent === 'Throw it away') b.textContent = 'Throw it away for good';
        else { await drop(f.key); await show(); }
      });
    }
  }
  const saySent = f => 'Sent: ' + f.words + '. It waited since ' + words(f.at) + ', and is in the log now.';
  function linkTo(f, parent) {
    if (f.to.startsWith('/clock/')) element('a', 'See what was logged', parent).href = f.to;
  }

  window.addEventListener('online', sendAll);
  document.addEventListener('visibilitychange', () => { if (!document.hidden) sendAll(); });
  setInterval(async () => { if (!going && (await mine()).some(f => !f.refused)) sendAll(); }, 60000);
  if (window.indexedDB) show().then(sendAll).catch(() => {});
}
})();
