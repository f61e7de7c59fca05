// Lets messages be pushed to this browser.
"use strict";

const push = document.getElementById("push");
const go = push.querySelector("button");
const told = document.getElementById("said");

go.disabled = false;
go.onclick = async () => {
  try {
    if (!("PushManager" in window)) throw new Error(push.dataset.cannot);
    if ((await Notification.requestPermission()) !== "granted") throw new Error(push.dataset.denied);
    const worker = await navigator.serviceWorker.register("worker.js");
    await new Promise((done) => {
      if (worker.active) done();
      else (worker.installing || worker.waiting).addEventListener("statechange", (e) => { if (e.target.state === "activated") done(); });
    });
    const raw = Uint8Array.from(atob(push.dataset.key.replace(/-/g, "+").replace(/_/g, "/")), (c) => c.charCodeAt(0));
    const subscription = await worker.pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: raw });
    const answer = await fetch(location.pathname, { method: "POST", body: JSON.stringify(subscription) });
    if (!answer.ok) throw new Error(push.dataset.failed);
    told.textContent = push.dataset.done;
  } catch (e) {
    told.textContent = e.message;
  }
};
