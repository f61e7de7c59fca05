// The page at the sugar pot, without signal: where sugar leaves the fire, by the
// thermometer's own boiling water and the air of the room; a batch that was written down
// waits here until there is signal.
"use strict";

(() => {
  const page = document.getElementById("sugarpot");
  if (!page || !page.dataset.facts) return;
  const facts = JSON.parse(page.dataset.facts);
  const words = page.dataset;
  const today = page.querySelector("form.today"), batch = page.querySelector("form.batch");
  const kept = "thawline-sugar:" + location.pathname;
  const said = "thawline-sugar-today:" + location.pathname;
  const tongue = document.documentElement.lang;
  const read = (form, name) => {
    const text = form.elements[name].value.trim().replace(",", ".");
    return text ? Number(text) : NaN;
  };
  const remember = (key, value) => {
    try { if (value) localStorage.setItem(key, JSON.stringify(value)); else localStorage.removeItem(key); } catch { return false; }
    return true;
  };
  const recall = (key) => {
    try { return JSON.parse(localStorage.getItem(key) || "null"); } catch { return null; }
  };

  function riseAt(pct) {
    if (Number.isNaN(pct)) return facts.usual_k;
    const r = facts.rises_k, at = Math.min(Math.max((pct - facts.from_pct) / facts.step_pct, 0), r.length - 1), i = Math.min(Math.floor(at), r.length - 2);
    return r[i] + (at - i) * (r[i + 1] - r[i]);
  }

  const tenth = (x) => x.toLocaleString(tongue, { minimumFractionDigits: 1, maximumFractionDigits: 1 }) + " " + words.degrees;
  const shown = (c) => tenth(facts.fahrenheit ? c * 1.8 + 32 : c);

  function reckon() {
    let water = read(today, "water");
    const pct = read(today, "humidity");
    if (!Number.isNaN(water) && facts.fahrenheit) water = (water - 32) / 1.8;
    const verdict = page.querySelector(".verdict");
    if ((!Number.isNaN(water) && (water < facts.least_c || water > facts.most_c)) || (!Number.isNaN(pct) && (pct < 5 || pct > 100))) {
      verdict.textContent = words.wrong.replace("@w", Number.isNaN(water) ? today.elements.humidity.value : today.elements.water.value);
      return;
    }
    if (Number.isNaN(water)) water = facts.water_c;
    const rise = riseAt(pct);
    verdict.textContent = words.at.replace("@a", shown(water + rise)).replace("@r", tenth(facts.fahrenheit ? rise * 1.8 : rise)).replace("@w", shown(water)).replace(/ °/g, "\u00a0°");
    page.querySelector(".damp").textContent = pct >= facts.damp_pct ? words.damp : "";
    if (batch) for (const name of ["water", "humidity"]) if (!batch.elements[name].value) batch.elements[name].value = today.elements[name].value;
    remember(said, { day: new Date().toDateString(), water: today.elements.water.value, humidity: today.elements.humidity.value });
  }

  today.addEventListener("submit", (event) => { event.preventDefault(); reckon(); });
  const before = recall(said);
  if (before && before.day === new Date().toDateString() && !today.elements.water.value) {
    today.elements.water.value = before.water;
    today.elements.humidity.value = before.humidity;
    reckon();
  }

  // ---- a batch that waits for signal

  async function send() {
    const list = recall(kept) || [];
    while (list.length) {
      let answer;
      try {
        answer = await fetch(batch.action, { method: "POST", headers: { "Content-Type": "application/x-www-form-urlencoded" }, body: list[0] });
      } catch { break; }
      if (!answer.ok) break; // a login, or something to put right: it stays
      list.shift();
      remember(kept, list.length ? list : null);
      if (!list.length) location.reload();
    }
    say(list.length);
  }

  function say(n) {
    const line = batch.querySelector(".waits");
    line.hidden = !n;
    line.textContent = n ? words.kept : "";
  }

  if (batch) {
    batch.addEventListener("submit", (event) => {
      if (navigator.onLine) return;
      const list = recall(kept) || [];
      list.push(new URLSearchParams(new FormData(batch)).toString());
      if (!remember(kept, list)) return; // a private window keeps nothing
      event.preventDefault();
      batch.reset();
      batch.elements.key.value = Date.now().toString(36) + Math.random().toString(36).slice(2);
      say(list.length);
    });
    addEventListener("online", send);
    if ((recall(kept) || []).length) { say(1); if (navigator.onLine) send(); }
  }
})();
