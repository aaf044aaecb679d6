// Makes a plot of this page larger on request, from the numbers beside it. Without it the picture stays as it is.
(() => {
  "use strict";
  const MISSING = -32768;
  const unpack = async (text, Kind) => {
    const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
    const plain = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
    return new Kind(await new Response(plain).arrayBuffer());
  };
  const volts = (raw) => Array.from(raw, (v) => (v === MISSING ? null : v / 1000));
  const times = (raw, start) => Array.from(raw, (t) => t / 1e6 + start);
  const digits = (_u, splits, _axis, _space, step) => splits.map((v) => v.toFixed(Math.max(0, Math.ceil(-Math.log10(step) - 1e-9))));
  const strokeOf = (box, role, colour) => {
    const line = box.querySelector("svg .l-" + role);
    return line ? getComputedStyle(line).stroke : colour;
  };

  const load = async (d) => {
    const at = times(await unpack(d.tables.bins.t, Uint32Array), d.start);
    const bins = [at];
    for (const lead of d.leads) bins.push(volts(await unpack(d.tables[lead.role], Int16Array)));
    if (!d.raw.t) return bins;
    const raw = [times(await unpack(d.raw.t, Uint32Array), d.start), volts(await unpack(d.raw.v, Int16Array))];
    return uPlot.join([bins, raw], [bins.map(() => 2), raw.map(() => 2)]);
  };

  const marks = (d, ink) => (u) => {
    const c = u.ctx, top = u.bbox.top, bottom = top + u.bbox.height, ratio = devicePixelRatio || 1;
    c.save();
    c.beginPath();
    c.rect(u.bbox.left, top, u.bbox.width, u.bbox.height);
    c.clip();
    c.strokeStyle = "#888";
    c.lineWidth = ratio;
    for (const [from, to] of d.bands) {
      const left = Math.max(u.valToPos(from, "x", true), u.bbox.left), right = Math.min(u.valToPos(to, "x", true), u.bbox.left + u.bbox.width);
      if (right <= left) continue;
      c.save();
      c.beginPath();
      c.rect(left, top, right - left, bottom - top);
      c.clip();
      c.beginPath();
      for (let x = left - (bottom - top); x < right; x += 9 * ratio) { c.moveTo(x, bottom); c.lineTo(x + bottom - top, top); }
      c.stroke();
      c.restore();
    }
    c.fillStyle = ink;
    c.font = 12 * ratio + "px system-ui, sans-serif";
    c.textAlign = "center";
    for (const [at, name] of d.captions) c.fillText(name, u.valToPos(at, "x", true), top + 14 * ratio);
    c.restore();
  };

  const plot = (box, d, data) => {
    const style = getComputedStyle(document.body), ink = style.color;
    const whole = [data[0][0], data[0][data[0].length - 1]];
    const axis = { stroke: ink, grid: { stroke: "#8884", width: 1 }, ticks: { stroke: "#8888" }, font: "12px system-ui, sans-serif" };
    const series = [{ label: "seconds" }];
    for (const lead of d.leads)
      series.push({ label: lead.name, stroke: strokeOf(box, lead.role, lead.colour), width: lead.width, points: { show: false },
        dash: lead.dashes.map((n) => n * lead.width) });
    if (d.raw.t) series.push({ label: "key feed, single conversions", stroke: strokeOf(box, "key_switch", "#0072B2"), width: 1 });
    const place = document.createElement("div");
    box.append(place);
    const u = new uPlot({ width: box.clientWidth, height: Math.max(260, Math.min(420, box.clientWidth * 0.6)), legend: { show: false },
      scales: { x: { time: false, range: (_, a, b) => [a, b] }, y: { range: () => d.volts } },
      axes: [{ ...axis, label: "seconds", labelSize: 18, size: 34, values: digits }, { ...axis, size: 44 }],
      cursor: { drag: { x: true, y: false } }, hooks: { draw: [marks(d, ink)] }, series }, data, place);
    const go = (from, to) => {
      const least = 20e-6, span = Math.min(Math.max(to - from, least), whole[1] - whole[0]);
      const begin = Math.min(Math.max(from, whole[0]), whole[1] - span);
      u.setScale("x", { min: begin, max: begin + span });
    };
    const now = () => [u.scales.x.min, u.scales.x.max];
    const by = (factor) => { const [a, b] = now(), m = (a + b) / 2, h = ((b - a) / 2) * factor; go(m - h, m + h); };
    const move = (share) => { const [a, b] = now(), s = (b - a) * share; go(a + s, b + s); };
    const bar = document.createElement("div");
    const button = (text, label, act) => {
      const made = document.createElement("button");
      made.type = "button";
      made.textContent = text;
      made.setAttribute("aria-label", label);
      made.addEventListener("click", act);
      bar.append(made);
    };
    button("+", "Larger", () => by(0.4));
    button("−", "Smaller", () => by(2.5));
    button("◀", "Earlier", () => move(-0.5));
    button("▶", "Later", () => move(0.5));
    button("whole", "The whole recording", () => go(...whole));
    for (const [name, from, to] of d.jumps.slice(0, 24)) button(name, "Show " + name, () => go(from, to));
    box.append(bar);
    addEventListener("resize", () => u.setSize({ width: box.clientWidth, height: u.height }));
    box.uplot = u;
  };

  if (typeof DecompressionStream === "undefined") return;
  for (const source of document.querySelectorAll("script.detail")) {
    const box = source.parentElement, ask = document.createElement("button"), hint = document.createElement("p");
    ask.type = "button";
    ask.textContent = "Look closer";
    hint.className = "hint";
    hint.textContent = "Drag across the picture, or use the buttons; twice quickly for the whole.";
    ask.addEventListener("click", async () => {
      ask.remove();
      const d = JSON.parse(source.textContent);
      plot(box, d, await load(d));
      box.append(hint);
    });
    box.append(ask);
  }
})();
