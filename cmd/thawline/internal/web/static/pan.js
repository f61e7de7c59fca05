// The clock at the pan, without signal: the sums of forecast/boil/draw_off.go, on the
// facts that the page brings. Readings stand in the address, as they do without script.
"use strict";

(() => {
  const page = document.getElementById("pan");
  if (!page || !page.dataset.facts) return;
  const facts = JSON.parse(page.dataset.facts);
  const form = page.querySelector("form");
  const kept = "thawline-pan:" + location.pathname;
  const fahrenheit = page.dataset.degrees === "°F";
  const uOf = (brix) => 100 / brix - 1;

  function phi(z) { // Abramowitz and Stegun 7.1.26, within 1.5e-7
    const x = Math.abs(z) / Math.SQRT2, t = 1 / (1 + 0.3275911 * x);
    const tail = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429)))) * Math.exp(-x * x) / 2;
    return z < 0 ? tail : 1 - tail;
  }

  const most = () => facts.least_brix + facts.brix_step * (facts.rises_k.length - 1);

  function brixAt(rise) {
    const r = facts.rises_k;
    if (rise <= r[0]) return facts.least_brix;
    for (let i = 1; i < r.length; i++) {
      if (rise <= r[i]) return facts.least_brix + facts.brix_step * (i - 1 + (rise - r[i - 1]) / (r[i] - r[i - 1]));
    }
    return most();
  }

  function age(p, t, drift) {
    const q = drift * drift / facts.drift_min;
    return { u: p.u - p.r * t, r: p.r, uu: p.uu - 2 * t * p.ur + t * t * p.rr + q * t * t * t / 3, ur: p.ur - t * p.rr - q * t * t / 2, rr: p.rr + q * t };
  }

  function hear(p, u, variance) {
    const k = 1 / (p.uu + variance), gu = p.uu * k, gr = p.ur * k, off = u - p.u;
    return { u: p.u + gu * off, r: p.r + gr * off, uu: p.uu * (1 - gu), ur: p.ur * (1 - gu), rr: p.rr - gr * p.ur };
  }

  const readyBy = (p, syrup, drift, minutes) => {
    const later = age(p, minutes, drift);
    return phi((syrup - later.u) / Math.sqrt(Math.max(later.uu, 1e-12)));
  };

  function until(p, syrup, drift, chance) {
    if (readyBy(p, syrup, drift, 0) >= chance) return 0;
    for (let t = 1; t <= facts.longest_min; t++) {
      if (readyBy(p, syrup, drift, t) < chance) continue;
      let low = t - 1, high = t;
      for (let i = 0; i < 12; i++) {
        const middle = (low + high) / 2;
        if (readyBy(p, syrup, drift, middle) < chance) low = middle; else high = middle;
      }
      return high;
    }
    return facts.longest_min;
  }

  function countdown(readings, now) {
    let p, weighed = false, at = 0;
    for (const r of readings) {
      if (p) p = age(p, (r.at - at) / 60, facts.drift_sd * p.r);
      at = r.at;
      if (r.changed === "topped_up") { p = undefined; weighed = false; }
      if (p && r.changed === "stoked") p.rr += (facts.stoked_sd * p.r) ** 2;
      if (!p) p = { u: uOf(40), r: facts.per_minute, uu: uOf(40) ** 2 * 100, ur: 0, rr: (facts.per_minute * facts.per_minute_sd) ** 2 };
      if (!Number.isNaN(r.brix)) {
        weighed = true;
        p = hear(p, uOf(r.brix), (facts.float_sd_brix * 100 / (r.brix * r.brix)) ** 2);
      }
      if (!Number.isNaN(r.temp)) {
        const rise = r.temp - facts.water_c, u = uOf(brixAt(rise));
        p = hear(p, u, Math.max(u - uOf(brixAt(rise + facts.read_sd_k)), 0.005) ** 2);
      }
      p.r = Math.max(p.r, 0.2 * facts.per_minute);
    }
    const drift = facts.drift_sd * p.r, syrup = uOf(facts.syrup_brix);
    p = age(p, (now - at) / 60, drift);
    let call = 0; // minutes until the last call, if nobody reads again
    while (call < 240 && readyBy(p, syrup, drift, call + facts.test_min) < facts.call_chance) call += 0.5;
    return {
      call,
      early: until(p, syrup, drift, 0.1), likely: until(p, syrup, drift, 0.5), late: until(p, syrup, facts.late_drift * drift, 0.9),
      test: readyBy(p, syrup, drift, facts.test_min) >= facts.call_chance,
      thin: !weighed && 100 / (1 + Math.max(p.u, 0.05)) < facts.thin_brix, old: (now - at) / 60 > facts.old_min,
    };
  }

  // ---- what stands in the address

  const read = (text) => {
    const [at, temp, brix, changed] = text.split("_");
    const number = (s) => (s ? parseFloat(s) : NaN);
    return { at: parseInt(at, 10), temp: number(temp), brix: number(brix), changed };
  };
  const state = () => new URLSearchParams(location.search);
  const readings = () => state().getAll("r").map(read).filter((r) => r.at > 0);

  function remember(s) {
    const query = s.toString();
    history.replaceState(null, "", location.pathname + (query ? "?" + query : ""));
    try {
      if (query) localStorage.setItem(kept, JSON.stringify({ query, at: Date.now() })); else localStorage.removeItem(kept);
    } catch { /* a private window keeps nothing */ }
  }

  const celsius = (x) => (fahrenheit ? (x - 32) / 1.8 : x);
  const number = (name) => {
    const text = form.elements[name].value.trim().replace(",", ".");
    return text ? Number(text) : NaN;
  };

  // ---- what is shown

  const words = page.dataset;
  let rang = false;

  function say(call, stay, loud, faint) {
    const box = page.querySelector(".call");
    const verdict = box.querySelector(".verdict");
    if (verdict.textContent !== call) verdict.textContent = call; // aloud once, not every few seconds
    box.querySelector(".stay").textContent = stay;
    box.classList.toggle("loud", loud);
    box.classList.toggle("faint", faint);
    if (loud && !rang) ring();
    rang = loud;
  }

  function show() {
    const all = readings();
    const list = page.querySelector("ol.readings");
    list.replaceChildren(...all.map((r) => {
      const line = document.createElement("li");
      const parts = [new Date(r.at * 1000).toLocaleTimeString(document.documentElement.lang, { hour: "numeric", minute: "2-digit", timeZone: words.zone })];
      if (!Number.isNaN(r.temp)) parts.push((fahrenheit ? r.temp * 1.8 + 32 : r.temp).toLocaleString(document.documentElement.lang, { minimumFractionDigits: 1, maximumFractionDigits: 1 }) + " " + words.degrees);
      if (!Number.isNaN(r.brix)) parts.push(r.brix.toLocaleString(document.documentElement.lang, { minimumFractionDigits: 1, maximumFractionDigits: 1 }) + " °Brix");
      if (r.changed === "stoked") parts.push(words.stoked);
      if (r.changed === "topped_up") parts.push(words.toppedUp);
      line.textContent = parts.join(" · ");
      return line;
    }));
    if (!all.length) { say(words.none, "", false, false); return; }
    const c = countdown(all, Date.now() / 1000);
    const early = Math.floor(c.early), likely = Math.round(c.likely), late = Math.ceil(c.late);
    let verdict = words.in.replace("@e", early).replace("@t", late).replace("@l", likely);
    if (late > 120) verdict = words.long.replace("@e", early);
    if (c.thin) verdict = words.thin;
    if (c.test) verdict = words.test;
    if (c.old) verdict = words.old;
    const stay = late > 120 ? words.stayLong : words.stay.replace("@m", Math.max(late - likely, likely - early, 1));
    say(verdict, stay, c.test, c.old && !c.test);
  }

  let sound, ahead = [];
  function tones(inSeconds, times) {
    const made = [];
    for (let i = 0; i < times; i++) {
      const tone = sound.createOscillator(), gain = sound.createGain();
      tone.frequency.value = 880;
      gain.gain.value = 0.3;
      tone.connect(gain).connect(sound.destination);
      tone.start(sound.currentTime + inSeconds + i * 0.6);
      tone.stop(sound.currentTime + inSeconds + i * 0.6 + 0.35);
      made.push(tone);
    }
    return made;
  }

  function hush() {
    for (const tone of ahead) try { tone.stop(); } catch { /* it has rung */ }
    ahead = [];
  }

  function ring() {
    if (navigator.vibrate) navigator.vibrate([400, 200, 400, 200, 800]);
    hush();
    if (sound) tones(0, 4);
  }

  // A locked phone stops the page's clock, but not sound that was set ahead: the call rings
  // where the browser lets sound go on. A tone too low to hear keeps it going.
  function ringAhead(minutes) {
    hush();
    if (!sound || minutes <= 0 || minutes >= 240) return;
    ahead = tones(minutes * 60, 8);
    const low = sound.createOscillator(), gain = sound.createGain();
    low.frequency.value = 20;
    gain.gain.value = 0.0005;
    low.connect(gain).connect(sound.destination);
    low.start();
    low.stop(sound.currentTime + minutes * 60 + 10);
    ahead.push(low);
  }

  // A browser lets a page ring and stay awake only after a press.
  async function wake() {
    try {
      sound = sound || new AudioContext();
      await sound.resume();
    } catch { sound = undefined; }
    try { await navigator.wakeLock.request("screen"); } catch { /* the page says so */ }
  }

  form.addEventListener("submit", (event) => {
    const temp = celsius(number("temp"));
    let brix = number("float");
    const cup = number("cup");
    if (Number.isNaN(temp) && Number.isNaN(brix)) return; // what the pan is, or nothing: the other side answers
    for (const name of ["water", "rate", "syrup"]) {
      if (form.elements[name].value !== form.elements[name].defaultValue && navigator.onLine) return; // its facts are worked out there
    }
    if (!Number.isNaN(brix) && !Number.isNaN(cup)) brix += 0.053 * ((fahrenheit ? cup : cup * 1.8 + 32) - 60);
    if (temp < facts.water_c - 5 || temp > facts.water_c + 30 || brix < 5 || brix > 80) {
      if (navigator.onLine) return; // it says what is wrong
      event.preventDefault();
      say(words.wrong.replace("@w", !Number.isNaN(temp) ? form.elements.temp.value : form.elements.float.value), "", false, true);
      return;
    }
    event.preventDefault();
    wake().then(() => { if (readings().length) ringAhead(countdown(readings(), Date.now() / 1000).call); });
    const s = state();
    for (const name of ["water", "rate", "syrup"]) if (form.elements[name].value) s.set(name, form.elements[name].value);
    const write = (x) => (Number.isNaN(x) ? "" : x.toFixed(2));
    s.append("r", [Math.floor(Date.now() / 1000), write(temp), write(brix), form.elements.changed.value].join("_"));
    remember(s);
    for (const name of ["temp", "float", "cup"]) form.elements[name].value = "";
    form.elements.changed.value = "";
    show();
  });
  page.querySelector("a.again").addEventListener("click", (event) => {
    event.preventDefault();
    remember(new URLSearchParams());
    hush();
    show();
  });

  // A page that was closed and opened again goes on where it was.
  if (!location.search) {
    try {
      const before = JSON.parse(localStorage.getItem(kept) || "null");
      if (before && Date.now() - before.at < 6 * 3600e3) remember(new URLSearchParams(before.query));
    } catch { /* nothing kept */ }
  }
  const line = page.querySelector(".scripted");
  if (!window.AudioContext) line.textContent = words.mute;
  else if (/iP(hone|ad|od)/.test(navigator.userAgent)) line.textContent = words.locked;
  line.hidden = false;
  show();
  setInterval(show, 5000);
})();
