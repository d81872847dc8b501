// Pages work without this file. It asks before what cannot be taken back, and
// keeps a part of a page fresh: an element with an id and data-refresh="SECONDS".
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
  } catch { /* the link is down; the next time will do */ }
}

for (const part of document.querySelectorAll('[data-refresh]')) {
  setTimeout(() => refresh(part.id), 1000 * part.dataset.refresh);
}

// What a text comes to on phones is told while it is written.
for (const area of document.querySelectorAll('[data-measure]')) {
  const told = document.getElementById('m-' + area.name);
  let wait;
  const measure = async () => {
    try {
      const answer = await fetch(area.dataset.measure + '&text=' + encodeURIComponent(area.value));
      if (answer.ok && !answer.redirected) told.innerHTML = await answer.text();
    } catch { /* the preview tells it too */ }
  };
  area.addEventListener('input', () => { clearTimeout(wait); wait = setTimeout(measure, 400); });
  if (area.value) measure();
}

const faults = document.getElementById('faults');
if (faults) faults.focus();
