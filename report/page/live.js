"use strict";
(() => {
  const el = (id) => document.getElementById(id);
  const make = (name, text, cls) => {
    const e = document.createElement(name);
    e.textContent = text;
    if (cls) e.className = cls;
    return e;
  };
  const list = (id, items) => el(id).replaceChildren(...items.map((t) => make("li", t)));
  const marks = { good: "\u25cf ", act: "\u25b2 ", unsure: "\u25cb ", bad: "\u00d7 ", plain: "" };
  let tag = "", desk = null, waiting = 0;

  let sounding = false; // asked for, and perhaps not shown yet
  async function act(b, words) {
    sounding = b.do === "enter" || b.do === "level";
    try {
      const res = await fetch("/act", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ do: b.do, words: words || "" }) });
      if (!res.ok) el("message").textContent = await res.text();
    } catch (e) {
      el("link").textContent = "no answer; is asworn still running?";
    }
    ask();
  }

  let asked = null;
  function press(b) {
    if (b.sure && !confirm(b.sure)) return;
    if (!b.ask) { act(b); return; }
    asked = b;
    el("question").textContent = b.ask;
    el("answer").value = "";
    el("ask").hidden = false;
    el("answer").focus();
  }
  el("ask").addEventListener("submit", (e) => {
    e.preventDefault();
    el("ask").hidden = true;
    act(asked, el("answer").value);
  });
  el("cancel").addEventListener("click", () => { el("ask").hidden = true; });

  const stop = { do: "other" };
  const playing = () => desk && (desk.phase === "playing" || sounding);
  document.addEventListener("keydown", (e) => {
    if (!desk || !desk.phase || e.ctrlKey || e.metaKey || e.altKey) return;
    if (playing()) { e.preventDefault(); act(stop); return; }
    if (!el("ask").hidden) {
      if (e.key === "Escape") el("ask").hidden = true;
      return;
    }
    if (e.target.tagName === "BUTTON" && (e.key === "Enter" || e.key === " ")) return;
    const b = desk.buttons.find((b) => b.key === e.key);
    if (b && !e.repeat) { e.preventDefault(); press(b); }
  });
  // While there is sound, a touch anywhere is a stop.
  document.addEventListener("pointerdown", (e) => {
    if (playing()) { e.preventDefault(); silenced = Date.now(); act(stop); }
  }, true);
  // The touch that stopped the sound presses nothing beside, nor does a second one by nerves.
  let silenced = 0;
  document.addEventListener("click", (e) => {
    if (Date.now() - silenced < 400) { e.preventDefault(); e.stopPropagation(); }
  }, true);
  // So is leaving the page.
  window.addEventListener("pagehide", () => {
    if (playing()) navigator.sendBeacon("/act", new Blob([JSON.stringify(stop)], { type: "application/json" }));
  });

  let shown = "";
  function buttons(all) {
    const now = JSON.stringify(all);
    if (now === shown) return;
    shown = now;
    el("buttons").replaceChildren(...all.map((b) => {
      const e = make("button", b.label, b.main ? "main" : "");
      e.type = "button";
      e.dataset.do = b.do;
      if (b.key) e.append(" ", make("kbd", b.key === "Enter" ? "\u21b5" : b.key));
      e.addEventListener("click", () => press(b));
      return e;
    }));
    el("buttons").hidden = all.length === 0;
  }

  const svg = (name, attrs) => {
    const e = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const k in attrs) e.setAttribute(k, attrs[k]);
    return e;
  };
  function map(d) {
    const at = d.history.filter((t) => t.placed);
    el("map").hidden = at.length === 0;
    if (!at.length) return;
    const reach = Math.max(10, d.tolerance_mm * 1.5, ...at.map((t) => Math.max(Math.abs(t.forward_mm), Math.abs(t.up_mm)) * 1.15));
    const k = 18 / reach;
    const parts = [svg("path", { d: "M-18 0H18M0-18V18", class: "axis" }), svg("circle", { r: d.tolerance_mm * k, class: "tolerance" })];
    at.forEach((t, i) => {
      const last = i === at.length - 1, x = t.forward_mm * k, y = -t.up_mm * k;
      const dot = svg("circle", { cx: x, cy: y, r: last ? 1.3 : 0.7, class: "take " + t.tone + (last ? " last" : "") });
      dot.append(Object.assign(svg("title", {}), { textContent: t.title + ": " + t.word }));
      parts.push(dot);
    });
    el("map").querySelector("svg").replaceChildren(...parts);
  }

  function show(s) {
    const d = desk = s.desk || { history: [], buttons: [], meters: [] };
    const take = d.take || s;
    el("title").textContent = s.title || "asworn";
    el("counts").textContent = [s.counts, d.left].filter(Boolean).join(" \u00b7 ");
    el("next").hidden = !d.next;
    el("next").textContent = d.next;
    // The row that was recorded stands above its verdict already.
    let word = take.word, tone = take.tone || "plain", what = d.take ? (d.next.includes(d.take.title) ? "" : d.take.title) : s.seating;
    let todo = take.do || [], more = (d.take ? d.take.more : s.detail) || [], seal = d.take ? "" : s.seal;
    if (d.phase === "playing") {
      word = "playing"; tone = "plain"; what = ""; todo = ["Any key or a touch anywhere stops the sound."]; more = []; seal = "";
    } else if (d.judging) {
      word = "judging \u2026"; tone = "plain"; what = d.judging; todo = more = []; seal = "";
    } else if (d.phase && d.phase !== "judged") {
      word = d.phase === "caution" ? "confirm the cautions" : d.phase; tone = "plain"; what = ""; todo = more = []; seal = "";
    }
    el("seating").textContent = what || "";
    el("word").textContent = (marks[tone] || "") + (word || "");
    el("word").className = tone;
    el("seal").textContent = seal || "";
    list("do", (todo || []).flatMap((t) => t.split("; "))); // each cup on a line of its own
    list("detail", more || []);
    el("message").textContent = s.error || d.message || "";
    el("safety").textContent = d.safety ? d.safety + " \u00b7" : "";
    el("cautions").hidden = !d.cautions;
    el("cautions").textContent = d.cautions || "";
    const meters = d.meters || [];
    el("meters").hidden = meters.length === 0;
    el("meters").replaceChildren(...meters.map((m) => {
      const li = make("li", m.name + " " + m.db.toFixed(0) + " dB"), bar = make("meter", "");
      bar.min = -60; bar.max = 0; bar.high = -6; bar.optimum = -30; bar.value = Math.max(-60, m.db);
      bar.setAttribute("aria-label", m.name);
      li.append(bar);
      return li;
    }));
    map({ history: d.history || [], tolerance_mm: d.tolerance_mm || 3 });
    buttons(d.buttons || []);
    document.body.className = d.phase ? "drives " + d.phase : "";
    document.title = word + " \u2013 " + (what || d.next || "asworn");
  }

  async function ask() {
    clearTimeout(waiting);
    try {
      const res = await fetch("/state", { headers: tag ? { "If-None-Match": tag } : {} });
      sounding = false; // the answer says
      el("link").textContent = "connected";
      if (res.status !== 304) {
        if (!res.ok) throw new Error(res.statusText);
        tag = res.headers.get("ETag") || "";
        show(await res.json());
      }
    } catch (e) {
      el("link").textContent = "no answer; is asworn still running?";
    }
    const soon = desk && (desk.phase === "playing" || desk.judging);
    waiting = setTimeout(ask, soon ? 200 : 500);
  }
  ask();
})();
