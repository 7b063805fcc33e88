"use strict";
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const minus = (s) => s.replace(/^-(?=[0.]*$)/, "").replace("-", "\u2212"); // never \u22120
  const num = (v, d) => (v === null || v === undefined ? "\u2013" : minus(v.toFixed(d)));
  const hertz = (f) => (f >= 1000 ? (f / 1000).toPrecision(3) + " kHz" : f.toPrecision(3) + " Hz");

  // A plot of curves: pointer and slider choose a band, the legend shows its values.
  function curves(fig, d) {
    const svg = fig.querySelector("svg"), slider = fig.querySelector("input[type=range]");
    const out = fig.querySelector("output"), cur = svg.querySelector(".cur");
    const x0 = +svg.dataset.x0, w = +svg.dataset.w;
    const boxes = [...fig.querySelectorAll("input[data-g]")];
    const show = (i) => {
      const f = d.hz[i], spoken = [];
      slider.value = i;
      const x = x0 + (w * Math.log(Math.min(Math.max(f, 20), 20000) / 20)) / Math.log(1000);
      cur.setAttribute("transform", "translate(" + x.toFixed(1) + " 0)");
      boxes.forEach((b) => {
        const g = +b.dataset.g, cell = fig.querySelector('[data-v="' + g + '"]');
        if (!b.checked) { cell.textContent = ""; return; }
        const parts = d.series.filter((s) => s.g === g).map((s) => {
          const y = num(s.y[i], d.digits);
          return s.lo && s.lo[i] !== null ? y + " (" + num(s.lo[i], d.digits) + "\u2026" + num(s.hi[i], d.digits) + ")" : y;
        });
        cell.textContent = parts.join(" / ") + " " + d.unit;
        spoken.push(b.parentNode.querySelector("span").textContent + " " + cell.textContent);
      });
      out.textContent = hertz(f);
      slider.setAttribute("aria-valuetext", hertz(f) + ": " + spoken.join(", "));
    };
    const at = (e) => {
      const r = svg.getBoundingClientRect();
      const f = 20 * Math.pow(1000, (((e.clientX - r.left) / r.width) * 640 - x0) / w);
      let best = 0;
      d.hz.forEach((h, i) => { if (Math.abs(Math.log(h / f)) < Math.abs(Math.log(d.hz[best] / f))) best = i; });
      return best;
    };
    svg.addEventListener("pointermove", (e) => show(at(e)));
    svg.addEventListener("pointerdown", (e) => show(at(e)));
    slider.addEventListener("input", () => show(+slider.value));
    fig.addEventListener("shown", () => show(+slider.value));
    show(+slider.value);
  }

  // A map or dot plot: the mark under pointer or focus says its values.
  function marks(fig) {
    const out = fig.querySelector("output");
    fig.querySelectorAll(".pt").forEach((p) => {
      const say = () => {
        fig.querySelectorAll(".pt.on").forEach((q) => q.classList.remove("on"));
        p.classList.add("on");
        out.textContent = p.dataset.label;
      };
      p.addEventListener("pointerenter", say);
      p.addEventListener("focus", say);
    });
  }

  // Draws a series that the page holds as numbers only.
  function draw(fig, p) {
    const d = data[+fig.dataset.fig], s = d.series[+p.dataset.s], v = p.ownerSVGElement.dataset;
    const x = (f) => (+v.x0 + (+v.w * Math.log(Math.min(Math.max(f, 20), 20000) / 20)) / Math.log(1000)).toFixed(1);
    const y = (l) => (+v.y0 + (+v.h * (v.ymax - l)) / (v.ymax - v.ymin)).toFixed(1);
    const clamp = (l) => Math.min(Math.max(l, +v.ymin), +v.ymax);
    const runs = [];
    let run = [];
    d.hz.forEach((f, i) => {
      if (s.y[i] === null) { run = []; return; }
      if (!run.length) runs.push(run);
      run.push(i);
    });
    p.setAttribute("d", runs.map((r) => (p.classList.contains("band")
      ? "M" + r.map((i) => x(d.hz[i]) + " " + y(clamp(s.hi[i]))).join("L") + "L" + r.reverse().map((i) => x(d.hz[i]) + " " + y(clamp(s.lo[i]))).join("L") + "Z"
      : "M" + r.map((i) => x(d.hz[i]) + " " + y(s.y[i])).join("L"))).join(""));
    delete p.dataset.s;
  }

  function toggle(fig, box) {
    fig.querySelectorAll('svg [data-g="' + box.dataset.g + '"]').forEach((p) => {
      if (box.checked && p.dataset.s) draw(fig, p);
      p.classList.toggle("off", !box.checked);
    });
  }

  document.querySelectorAll("figure[data-fig]").forEach((fig) => {
    const d = data[+fig.dataset.fig];
    if (d.hz) curves(fig, d); else marks(fig);
    fig.querySelectorAll("input[data-g]").forEach((b) => {
      toggle(fig, b); // a reload may keep ticks
      b.addEventListener("change", () => { toggle(fig, b); fig.dispatchEvent(new Event("shown")); });
    });
    fig.querySelectorAll("button[data-all]").forEach((btn) => btn.addEventListener("click", () => {
      fig.querySelectorAll("input[data-g]").forEach((b) => { b.checked = btn.dataset.all === "1"; toggle(fig, b); });
      fig.dispatchEvent(new Event("shown"));
    }));
  });

  // A link to something folded away opens it first.
  const unfold = () => {
    const t = location.hash && document.getElementById(location.hash.slice(1));
    for (let p = t; p; p = p.parentElement) if (p.tagName === "DETAILS") p.open = true;
    if (t) t.scrollIntoView();
  };
  addEventListener("hashchange", unfold);
  unfold();
})();
