// The pages work without this. It keeps entries while there is no signal and
// sends them later, and reads values out of pictures.
"use strict";

const base = document.body.dataset.base;

// ---- entries that wait for signal

function store() {
  return new Promise((done, failed) => {
    const r = indexedDB.open("thawline", 1);
    r.onupgradeneeded = () => r.result.createObjectStore("entries", { keyPath: "key" });
    r.onsuccess = () => done(r.result);
    r.onerror = () => failed(r.error);
  });
}

async function within(mode, work) {
  const db = await store();
  try {
    return await new Promise((done, failed) => {
      const t = db.transaction("entries", mode);
      const r = work(t.objectStore("entries"));
      t.oncomplete = () => done(r && r.result);
      t.onerror = t.onabort = () => failed(t.error);
    });
  } finally {
    db.close();
  }
}

const waiting = () => within("readonly", (s) => s.getAll());
const keep = (entry) => within("readwrite", (s) => s.put(entry));
const drop = (key) => within("readwrite", (s) => s.delete(key));

let sending = false;

// send tries each entry once, with how long ago it was made: the phone's clock
// may be wrong, its seconds are not. An entry leaves the phone only when the other
// side says that it has it; its key makes it count once however often it comes.
async function send() {
  if (sending) return;
  sending = true;
  try {
    for (const entry of await waiting()) {
      if (entry.state === "wrong") continue;
      let answer;
      try {
        answer = await fetch(entry.to, { method: "POST", headers: { Accept: "application/json", "Content-Type": "application/x-www-form-urlencoded" }, body: entry.body + "&ago=" + Math.max(0, Math.round((Date.now() - entry.made) / 1000)), signal: AbortSignal.timeout ? AbortSignal.timeout(20000) : undefined });
      } catch {
        break; // no signal
      }
      if (answer.ok && !answer.redirected) {
        const said = await answer.json().catch(() => ({}));
        await drop(entry.key);
        if (entry.plan) {
          location.assign(said.again || location.href); // the plan is another now
          return;
        }
        mark(entry.group, said.say || entry.label, said.entry, /(^|&)pulled=1/.test(entry.body));
      } else if (answer.status === 401 || answer.status === 403 || answer.redirected) {
        entry.state = "login";
        await keep(entry);
        break;
      } else if (answer.status === 422) {
        const said = await answer.json().catch(() => ({}));
        entry.state = "wrong";
        entry.say = said.say || "";
        entry.why = said.why || [];
        await keep(entry);
      } else {
        break;
      }
    }
  } finally {
    sending = false;
    await show();
  }
}

// mark says beside a group's form what became of an entry, with a button that takes it
// back, and where to go next.
function mark(group, say, entry, pulled) {
  const form = document.querySelector(`form.entry input[name=group][value="${CSS.escape(group)}"]`)?.form;
  if (!form) return;
  form.parentNode.querySelector(".sent")?.remove();
  const box = document.createElement("div");
  box.className = "sent";
  const p = document.createElement("p");
  p.className = "done";
  p.setAttribute("role", "status");
  p.textContent = say;
  box.append(p);
  form.before(box);
  if (pulled) form.hidden = true; // there is nothing more to enter
  const next = form.closest("details.group")?.nextElementSibling;
  if (next && form.dataset.next) {
    const on = document.createElement("button");
    on.type = "button";
    on.textContent = form.dataset.next;
    on.onclick = () => { next.open = true; next.scrollIntoView(); next.querySelector("summary").focus(); };
    box.append(on);
  }
  if (!entry) return;
  const undo = document.createElement("form");
  undo.method = "post";
  undo.action = form.dataset.undo;
  undo.className = "taken";
  const number = document.createElement("input");
  number.type = "hidden";
  number.name = "entry";
  number.value = entry;
  const button = document.createElement("button");
  button.className = "quiet";
  button.textContent = form.dataset.undoSays;
  undo.append(number, button);
  box.append(undo);
}

async function show() {
  const box = document.getElementById("kept");
  if (!box) return;
  const entries = await waiting();
  box.hidden = entries.length === 0;
  const list = box.querySelector("ul");
  list.textContent = "";
  let head = box.dataset.waits;
  for (const e of entries) {
    const item = document.createElement("li");
    item.textContent = e.label;
    if (e.state === "login") head = box.dataset.login;
    if (e.state === "wrong") {
      item.textContent += " – " + box.dataset.wrong + " " + e.say + " ";
      const press = (text, does) => {
        const b = document.createElement("button");
        b.type = "button";
        b.className = "plain";
        b.textContent = text;
        b.onclick = does;
        item.append(b);
      };
      for (const one of e.why || []) {
        press(one.text, async () => {
          e.body = e.body.replace(/&why=[^&]*/, "") + "&why=" + encodeURIComponent(one.value);
          e.state = "";
          await keep(e);
          await send();
        });
      }
      if (formOf(e)) press(box.dataset.change, async () => { await drop(e.key); typeAgain(e); await show(); });
      press(box.dataset.drop, async () => { await drop(e.key); await show(); });
    }
    list.append(item);
  }
  box.querySelector("p").textContent = head;
}

// formOf is the form that an entry came from, where it is on this page.
function formOf(entry) {
  return !entry.plan && document.querySelector(`form.entry input[name=group][value="${CSS.escape(entry.group)}"]`)?.form;
}

// typeAgain puts what was typed back into its form.
function typeAgain(entry) {
  const form = formOf(entry);
  for (const [name, value] of new URLSearchParams(entry.body)) {
    const fields = form.elements[name];
    if (!fields || ["key", "group", "units", "expected"].includes(name)) continue;
    for (const f of fields.length && !fields.tagName ? fields : [fields]) {
      if (f.type === "radio" || f.type === "checkbox") f.checked = f.value === value;
      else if (f.tagName === "INPUT") f.value = value;
    }
  }
  form.closest("details.group").open = true;
  pressed(form);
  form.elements.volume.focus();
}

// ---- one thumb: plus and minus begin at what is expected, Save opens once something was said

function pressed(form) {
  const save = form.querySelector("button.save");
  if (!save) return;
  const text = form.elements.volume.value;
  save.disabled = !text && !form.querySelector(".press input:checked");
  save.textContent = text ? (navigator.onLine ? form.dataset.save : form.dataset.keep).replace("#", text) : form.dataset.saves;
}

for (const form of document.querySelectorAll("form.entry")) {
  const field = form.elements.volume, box = form.querySelector(".presses");
  if (!box) continue;
  const comma = document.documentElement.lang.startsWith("fr");
  const set = (x) => {
    field.value = x === "" ? "" : String(Math.round(x * 100) / 100).replace(".", comma ? "," : ".");
    pressed(form);
  };
  const by = (sign) => {
    const step = Number(form.dataset.step) || 1;
    const now = Number(field.value.replace(",", "."));
    const none = form.querySelector("[name=found][value=empty]");
    if (!field.value) set(Number(form.dataset.expected) || (sign > 0 ? step : 0));
    else set(Math.max(0, now + sign * step));
    if (none && field.value !== "0") none.checked = false;
    pressed(form);
  };
  box.hidden = false;
  for (const button of box.querySelectorAll("button")) {
    let timer, fast = false;
    const stop = () => { clearTimeout(timer); clearInterval(timer); };
    button.addEventListener("pointerdown", () => { fast = false; timer = setTimeout(() => { fast = true; timer = setInterval(() => by(Number(button.dataset.by)), 90); }, 500); });
    for (const end of ["pointerup", "pointerleave", "pointercancel"]) button.addEventListener(end, stop);
    button.addEventListener("click", () => { if (!fast) by(Number(button.dataset.by)); fast = false; });
  }
  form.addEventListener("input", (event) => {
    const at = event.target;
    if (at.name === "found" && at.checked) set(0);
    if (at === field && Number(field.value.replace(",", ".")) > 0) form.querySelector("[name=found][value=empty]").checked = false;
    if (at.name === "full" && at.checked && !field.value && form.dataset.holds) set(Number(form.dataset.holds));
    if (at.name === "not_checked" && at.checked) { set(""); form.querySelector("[name=found][value=empty]").checked = false; }
    pressed(form);
  });
  form.addEventListener("reset", () => setTimeout(() => pressed(form)));
  addEventListener("online", () => pressed(form));
  addEventListener("offline", () => pressed(form));
  pressed(form);
}

for (const form of document.querySelectorAll("form.entry")) {
  if (!window.indexedDB) break; // the form is sent as any other
  if (!form.elements.volume) continue; // of the sugarhouse, not of a group
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const data = new FormData(form);
    const pulled = event.submitter && event.submitter.name === "pulled";
    const expected = event.submitter && event.submitter.value === "expected";
    if (pulled) data.set("pulled", "1");
    if (expected) { data.set("found", "expected"); data.delete("volume"); }
    const found = data.get("found") || data.get("full") || data.get("ice") || data.get("not_checked");
    if (!pulled && !data.get("volume") && !found) {
      form.querySelector("[name=volume]").focus();
      return;
    }
    const said = [expected ? event.submitter.textContent : data.get("volume") && form.dataset.save.replace(/^\S+ /, "").replace("#", data.get("volume")), data.get("brix") && data.get("brix") + " %"].filter(Boolean);
    for (const box of form.querySelectorAll(".press input:checked")) if (!expected || box.name !== "found") said.push(box.parentNode.textContent.trim());
    if (pulled) said.push(event.submitter.dataset.says);
    try {
      await keep({ key: data.get("key"), made: Date.now(), group: data.get("group"), to: form.action, body: new URLSearchParams(data).toString(), label: form.dataset.name + ": " + said.join(", ") });
    } catch {
      if (pulled) form.append(Object.assign(document.createElement("input"), { type: "hidden", name: "pulled", value: "1" }));
      form.submit(); // nothing can be kept here
      return;
    }
    form.reset();
    form.elements.key.value = newKey();
    await show();
    await send();
  });
}

// What somebody says of a round waits as well.
for (const form of document.querySelectorAll("form.thumbs,form.away")) {
  if (!window.indexedDB) break;
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const data = new FormData(form), button = event.submitter;
    data.set("do", button.value);
    const key = form.elements.key ? form.elements.key.value : newKey();
    const about = form.closest(".round")?.querySelector(".when")?.textContent || form.closest("details.group")?.querySelector(".name")?.textContent || form.querySelector("span")?.textContent || "";
    try {
      await keep({ key, plan: true, made: Date.now(), to: form.action, body: new URLSearchParams(data).toString(), label: about.trim() + ": " + button.textContent });
    } catch {
      form.append(Object.assign(document.createElement("input"), { type: "hidden", name: "do", value: button.value }));
      form.submit();
      return;
    }
    await show();
    await send();
  });
}

function newKey() {
  const b = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(b, (x) => x.toString(16).padStart(2, "0")).join("");
}

// A page from the phone's memory shows keys that were used already.
for (const key of document.querySelectorAll("form.entry input[name=key],form.thumbs input[name=key]")) key.value = newKey();

if (document.getElementById("kept")) {
  document.querySelector("#kept > button").onclick = send;
  addEventListener("online", send);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) send(); });
  setInterval(async () => { if ((await waiting()).length) send(); }, 30000);
  show().then(send);
}

// ---- what others write down in the meantime

const groups = document.querySelector(".groups[data-latest]");
if (groups) {
  setInterval(async () => {
    if (document.hidden || !navigator.onLine) return;
    try {
      const answer = await fetch(groups.dataset.latest, { headers: { Accept: "application/json" } });
      if (!answer.ok || answer.redirected) return;
      for (const [group, say] of Object.entries((await answer.json()).last)) {
        const p = document.getElementById("g-" + group)?.querySelector(".last");
        if (!p || p.querySelector("span").textContent === say) continue;
        p.querySelector("span").textContent = say;
        p.hidden = false;
      }
    } catch {} // no signal
  }, 5000);
}

// ---- signal

function signal() {
  const p = document.getElementById("signal");
  const old = document.body.dataset.old;
  p.hidden = navigator.onLine && !old;
  p.textContent = navigator.onLine ? p.dataset.old : p.dataset.off;
}
addEventListener("online", signal);
addEventListener("offline", signal);
signal();

// ---- pages for when there is no signal

if (document.body.dataset.worker && "serviceWorker" in navigator && window.isSecureContext) {
  navigator.serviceWorker.register(document.body.dataset.worker, { scope: base + "/" }).catch(() => {});
}
for (const form of document.querySelectorAll("form.logout")) {
  form.addEventListener("submit", () => { if (window.caches) caches.keys().then((names) => names.forEach((n) => caches.delete(n))); });
}

// ---- values out of pictures, by finger, mouse or arrow keys

for (const figure of document.querySelectorAll("figure.reads")) {
  const rows = document.querySelectorAll("#" + figure.dataset.rows + " tbody tr");
  const head = document.querySelectorAll("#" + figure.dataset.rows + " thead th");
  const out = figure.querySelector(".readout");
  let at = -1;
  const read = (i) => {
    if (!rows.length) return;
    at = Math.max(0, Math.min(rows.length - 1, i));
    const cells = rows[at].children;
    out.textContent = Array.from(cells, (c, k) => (k ? head[k].textContent + " " : "") + c.textContent).join(" · ");
    for (const svg of figure.querySelectorAll("svg")) line(svg, at);
  };
  const line = (svg, i) => {
    const { left, right, top, foot, rows: n } = svg.dataset;
    if (!n) return;
    let l = svg.querySelector("line.reading");
    if (!l) {
      l = document.createElementNS("http://www.w3.org/2000/svg", "line");
      l.setAttribute("class", "reading");
      svg.append(l);
    }
    const x = Number(left) + ((i + 0.5) / Number(n)) * (right - left);
    const box = svg.viewBox.baseVal;
    for (const [k, v] of [["x1", x], ["x2", x], ["y1", top || 0], ["y2", foot || box.height]]) l.setAttribute(k, v);
  };
  for (const svg of figure.querySelectorAll("svg")) {
    const point = (event) => {
      const r = svg.getBoundingClientRect();
      const { left, right, rows: n } = svg.dataset;
      const x = ((event.clientX - r.left) / r.width) * svg.viewBox.baseVal.width;
      read(Math.floor(((x - left) / (right - left)) * n));
    };
    svg.addEventListener("pointerdown", point);
    svg.addEventListener("pointermove", (event) => { if (event.pointerType === "mouse" || event.buttons) point(event); });
  }
  figure.addEventListener("keydown", (event) => {
    const step = { ArrowLeft: -1, ArrowRight: 1, PageUp: -24, PageDown: 24, Home: -1e6, End: 1e6 }[event.key];
    if (!step) return;
    event.preventDefault();
    const svg = Array.from(figure.querySelectorAll("svg")).find((s) => s.getClientRects().length);
    read(at < 0 && Math.abs(step) < 1e6 ? Number(svg?.dataset.now || 0) : at + step);
  });
}
