// Pages work without this file. It asks before what cannot be taken back, and
// keeps a part of a page fresh: an element with an id and data-refresh="SECONDS".
// One with data-leads too leads to a page without it, which is then loaded whole.
'use strict';

document.addEventListener('submit', (e) => {
  const ask = e.target.dataset.confirm;
  if (ask && !window.confirm(ask)) e.preventDefault();
});

// A page left open is not refreshed for ever: its session has to end some time.
const patience = Date.now() + 20 * 60 * 1000;

async function refresh(id) {
  const part = document.getElementById(id);
  if (!part || !part.dataset.refresh || Date.now() > patience) return;
  setTimeout(() => refresh(id), 1000 * part.dataset.refresh);
  if (document.hidden || part.contains(document.activeElement)) return;
  try {
    const answer = await fetch(location.href, { headers: { Accept: 'text/html' } });
    if (!answer.ok || answer.redirected) return;
    const page = new DOMParser().parseFromString(await answer.text(), 'text/html');
    const fresh = page.getElementById(id);
    if (fresh) part.replaceWith(fresh);
    else if ('leads' in part.dataset) location.reload();
  } catch { /* the link is down; the next time will do */ }
}

for (const part of document.querySelectorAll('[data-refresh]')) {
  setTimeout(() => refresh(part.id), 1000 * part.dataset.refresh);
}

// What is written to phones stands beside it as they will show it, and is put in
// again while it is written. The form goes as a form does: no text in an address.
for (const form of document.querySelectorAll('form[data-measure]')) {
  let wait, turn = 0;
  const measure = async () => {
    const mine = ++turn;
    try {
      const answer = await fetch(form.dataset.measure, { method: 'POST', body: new URLSearchParams(new FormData(form)) });
      if (!answer.ok || answer.redirected) return;
      const fresh = new DOMParser().parseFromString(await answer.text(), 'text/html');
      if (mine !== turn) return; // more was written meanwhile
      for (const part of fresh.querySelectorAll('[id]')) document.getElementById(part.id)?.replaceChildren(...part.childNodes);
    } catch { /* the link is down; the preview tells it too */ }
  };
  form.addEventListener('input', () => { clearTimeout(wait); wait = setTimeout(measure, 400); });
  for (const button of form.querySelectorAll('[data-plain]')) button.hidden = true;
  if ('measureNow' in form.dataset) measure();
}

const faults = document.getElementById('faults');
if (faults) faults.focus();
