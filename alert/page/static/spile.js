// Keeps a page fresh. Without this script a page renews itself every few seconds, and everything on it works.
"use strict";
(() => {
  const main = document.getElementById("main");
  const lost = document.getElementById("lost");
  if (!main || !("live" in main.dataset) || !window.EventSource) return;
  const tank = main.dataset.live; // "": every tank

  // patch makes the old node look like the fresh one and keeps what did not change, so that a thumb never finds a button
  // gone and nothing that is being typed is lost.
  function patch(old, fresh) {
    if (old.nodeType === Node.TEXT_NODE) {
      if (old.data !== fresh.data) old.data = fresh.data;
      return;
    }
    if (old.nodeType !== Node.ELEMENT_NODE) return;
    if (old.nodeName === "FORM" && old.contains(document.activeElement)) return;
    if (old.nodeName !== "DETAILS") { // what a person opened or shut stays so
      for (const { name } of [...old.attributes]) if (!fresh.hasAttribute(name)) old.removeAttribute(name);
      for (const { name, value } of fresh.attributes) if (old.getAttribute(name) !== value) old.setAttribute(name, value);
    }
    if (["INPUT", "SELECT", "TEXTAREA"].includes(old.nodeName)) return;
    patchChildren(old, fresh);
  }

  // patchChildren finds for each fresh child the old one that it is: by its id, or by its kind and order. What stays is
  // not moved, so that what has the focus keeps it.
  function patchChildren(old, fresh) {
    const pool = [...old.childNodes];
    const pairs = [...fresh.childNodes].map((node) => {
      const at = pool.findIndex((o) => o.nodeName === node.nodeName && (o.id || "") === (node.id || ""));
      return [at < 0 ? null : pool.splice(at, 1)[0], node];
    });
    pool.forEach((node) => node.remove());
    let place = old.firstChild;
    for (const [kept, node] of pairs) {
      if (kept) patch(kept, node);
      if (kept && kept === place) place = place.nextSibling;
      else old.insertBefore(kept || node, place);
    }
  }

  let busy = false, again = false, pressed = false;
  async function renew() {
    if (busy || pressed || document.hidden) {
      again = true;
      return;
    }
    busy = true;
    again = false;
    try {
      const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
      if (!answer.ok) throw new Error(String(answer.status));
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (pressed) again = true;
      else {
        document.title = fresh.title;
        for (const id of ["pages", "notes", "main"]) {
          const old = document.getElementById(id), made = fresh.getElementById(id);
          if (old && made) patch(old, made);
        }
        lost.hidden = true;
      }
    } catch {
      lost.hidden = false;
    }
    setTimeout(() => {
      busy = false;
      if (again) renew();
    }, 500);
  }

  addEventListener("pointerdown", () => { pressed = true; });
  for (const end of ["pointerup", "pointercancel"]) addEventListener(end, () => setTimeout(() => {
    pressed = false;
    if (again) renew();
  }, 300));
  addEventListener("visibilitychange", () => { if (!document.hidden) renew(); });

  const changes = new EventSource("/changes");
  changes.addEventListener("open", () => { // what changed between the page and this is told by nobody
    lost.hidden = true;
    renew();
  });
  changes.addEventListener("error", () => { lost.hidden = false; });
  changes.addEventListener("change", (event) => {
    const { tanks } = JSON.parse(event.data);
    if (tank === "" || tanks.includes(tank) || tanks.includes("")) renew();
  });
  setInterval(renew, 30000); // how long ago a reading was heard goes on by itself
})();
