"use strict";
(() => {
  const el = (id) => document.getElementById(id);
  const list = (id, items) => el(id).replaceChildren(...items.map((t) => {
    const li = document.createElement("li");
    li.textContent = t;
    return li;
  }));
  const marks = { good: "\u25cf ", act: "\u25b2 ", unsure: "\u25cb ", bad: "\u00d7 ", plain: "" };
  let tag = "";
  async function ask() {
    try {
      const res = await fetch("/state", { headers: tag ? { "If-None-Match": tag } : {} });
      el("link").textContent = "connected";
      if (res.status === 304) return;
      if (!res.ok) throw new Error(res.statusText);
      tag = res.headers.get("ETag") || "";
      const s = await res.json();
      if (s.error) { el("link").textContent = s.error; return; }
      el("title").textContent = s.title || "asworn";
      el("counts").textContent = s.counts;
      el("seating").textContent = s.seating;
      el("word").textContent = marks[s.tone] + s.word;
      el("word").className = s.tone;
      el("seal").textContent = s.seal;
      list("do", s.do);
      list("detail", s.detail);
      document.title = s.word + " \u2013 " + (s.seating || "asworn");
    } catch (e) {
      el("link").textContent = "no answer; is asworn still running?";
    }
  }
  ask();
  setInterval(ask, 1000);
})();
