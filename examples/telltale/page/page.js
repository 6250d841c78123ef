// SPDX-License-Identifier: Apache-2.0
// The page's behaviour. Data comes from the element #data; nothing is fetched.
"use strict";
(() => {
  const $ = (id) => document.getElementById(id);
  const make = (tag, props = {}, ...children) => {
    const node = Object.assign(document.createElement(tag), props);
    node.append(...children);
    return node;
  };
  const data = JSON.parse($("data").textContent);
  const shade = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

  // --- samples: base64 of variable-length integers, see page.cpp ---------------------------------
  const unpack = (packed) => {
    if (!packed) return { t: [], v: [] };
    const bytes = Uint8Array.from(atob(packed.data), (c) => c.charCodeAt(0));
    const t = [], v = [];
    let at = 0, time = 0, steps = 0;
    const number = () => {
      let value = 0, scale = 1, byte;
      do {
        byte = bytes[at++];
        value += (byte & 127) * scale;
        scale *= 128;
      } while (byte & 128);
      return value;
    };
    const signed = () => { const n = number(); return n % 2 ? -(n + 1) / 2 : n / 2; };
    for (let i = 0; i < packed.count; ++i) {
      time += number();
      steps += signed();
      t.push(packed.start + time / 1000);
      v.push(packed.base + steps * packed.step);
    }
    return { t, v };
  };
  // A signal is unpacked when it is first looked at.
  for (const signal of data.signals)
    for (const part of ["good", "bad", "expected"]) {
      const packed = signal[part];
      let samples;
      signal[part + "Ends"] = packed && [packed.start, packed.start + packed.length];
      Object.defineProperty(signal, part, { get: () => (samples ??= unpack(packed)) });
    }

  // --- state --------------------------------------------------------------------------------------
  const state = {
    us: data.units === "us", now: 0, shown: [], focus: 0, shift: data.shift || 0,
    from: 0, to: 1, playing: 0, speed: 1,
  };
  const span = (() => {
    let from = Infinity, to = -Infinity;
    for (const signal of data.signals) {
      for (const [ends, shift] of [[signal.badEnds, 0], [signal.goodEnds, state.shift]])
        if (ends) {
          from = Math.min(from, ends[0] + shift);
          to = Math.max(to, ends[1] + shift);
        }
    }
    return from < to ? { from, to } : { from: 0, to: 1 };
  })();
  state.from = span.from;
  state.to = span.to;

  const unitOf = (signal) => (state.us && signal.us ? signal.us.unit : signal.unit);
  const inUnit = (signal, value) => (state.us && signal.us ? value * signal.us.factor + signal.us.offset : value);
  const format = (signal, value) =>
    value === undefined || value === null ? "no sample" : inUnit(signal, value).toFixed(signal.decimals) +
      (unitOf(signal) ? " " + unitOf(signal) : "");
  const clock = (seconds) => (seconds < 0 ? "\u2212" : "+") + Math.abs(seconds).toFixed(3) + " s";

  // Index of the last sample at or before `time`, or -1.
  const before = (times, time) => {
    let low = 0, high = times.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (times[middle] <= time) low = middle + 1; else high = middle;
    }
    return low - 1;
  };
  // The sample that holds at `time`: none across a gap.
  const at = (samples, time, gap) => {
    const i = before(samples.t, time);
    return i < 0 || time - samples.t[i] > gap ? undefined : samples.v[i];
  };

  // --- plotting -------------------------------------------------------------------------------------
  // A gap in the samples stays a gap in the line: a null between the two.
  const withGaps = (signal, samples, shift) => {
    const x = [], y = [];
    for (let i = 0; i < samples.t.length; ++i) {
      if (i && samples.t[i] - samples.t[i - 1] > signal.gap) {
        x.push((samples.t[i] + samples.t[i - 1]) / 2 + shift);
        y.push(null);
      }
      x.push(samples.t[i] + shift);
      y.push(inUnit(signal, samples.v[i]));
    }
    return [x, y];
  };
  const tables = (signal) => uPlot.join([
    withGaps(signal, signal.good, state.shift),
    withGaps(signal, signal.bad, 0),
    withGaps(signal, signal.expected, 0),
  ]);
  const strips = new Map();

  const drawOver = (signal) => (plot) => {
    const { ctx, bbox } = plot;
    const x = (time) => Math.round(plot.valToPos(time, "x", true));
    const inside = (px) => px >= bbox.left && px <= bbox.left + bbox.width;
    const line = (time, colour, dash) => {
      const px = x(time);
      if (!inside(px)) return;
      ctx.strokeStyle = colour;
      ctx.lineWidth = Math.max(1, devicePixelRatio);
      ctx.setLineDash(dash.map((n) => n * devicePixelRatio));
      ctx.beginPath();
      ctx.moveTo(px, bbox.top);
      ctx.lineTo(px, bbox.top + bbox.height);
      ctx.stroke();
    };
    ctx.save();
    for (const mark of data.marks) line(mark.time, shade("--mark"), [6, 3]);
    line(state.now, shade("--now"), []);
    ctx.restore();
  };
  const drawUnder = (signal) => (plot) => {
    const { ctx, bbox } = plot;
    ctx.save();
    ctx.beginPath();
    ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
    ctx.clip();
    for (const suspect of data.suspects) {
      if (suspect.signal !== signal.key) continue;
      ctx.fillStyle = shade("--shade");
      for (const [start, end] of suspect.spans) {
        const left = plot.valToPos(start, "x", true);
        const right = plot.valToPos(end, "x", true);
        ctx.fillRect(left, bbox.top, Math.max(right - left, 3 * devicePixelRatio), bbox.height);
      }
    }
    ctx.restore();
  };

  const buildStrip = (signal) => {
    const reads = { b: make("span", { className: "read b" }), g: make("span", { className: "read g" }), e: make("span", { className: "read e" }) };
    const tool = (text, label, act) => {
      const button = make("button", { type: "button", textContent: text, title: label, ariaLabel: label });
      button.addEventListener("click", (event) => { event.stopPropagation(); act(); });
      return button;
    };
    const head = make("div", { className: "strip-head" },
      make("b", { textContent: signal.name }), make("span", { className: "soft", textContent: signal.ecu }),
      reads.b, reads.g, reads.e,
      make("span", { className: "tools" },
        tool("\u2191", "Move this strip up", () => move(signal, -1)),
        tool("\u2193", "Move this strip down", () => move(signal, 1)),
        tool("\u00d7", "Take this strip away", () => toggle(signal, false))));
    const node = make("section", { className: "strip" }, head);
    node.dataset.signal = signal.key;
    node.addEventListener("pointerdown", () => { state.focus = state.shown.indexOf(signal); mark(); });
    $("strips").append(node);
    const colour = (name) => () => shade(name);
    const axis = (extra) => ({ stroke: colour("--soft"), grid: { stroke: colour("--rule"), width: 1 }, ticks: { stroke: colour("--rule") }, ...extra });
    const line = (name, dash) => ({ stroke: colour(name), width: 1.5, dash, spanGaps: false, points: { show: (plot, s, i0, i1) => i1 - i0 < 200 && !dash, size: 5 } });
    const plot = new uPlot({
      width: 600, height: 150,
      legend: { show: false },
      scales: { x: { time: false, range: () => [state.from, state.to] } },
      axes: [axis({ size: 34, values: (u, splits) => splits.map((n) => n.toFixed(splits.length > 1 && splits[1] - splits[0] < 1 ? 2 : 0) + " s") }), axis({ size: 58 })],
      series: [{}, line("--good"), line("--bad"), line("--expected", [5, 4])],
      cursor: { points: { show: false }, y: false, drag: { x: true, y: false, setScale: false } },
      hooks: {
        drawClear: [drawUnder(signal)], draw: [drawOver(signal)],
        setSelect: [(u) => {
          if (u.select.width < 4) return;
          zoomTo(u.posToVal(u.select.left, "x"), u.posToVal(u.select.left + u.select.width, "x"));
          u.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
        }],
      },
    }, tables(signal), node);
    plot.over.addEventListener("click", (event) => {
      const time = plot.posToVal(event.offsetX, "x");
      if (Number.isFinite(time)) goTo(time);
    });
    plot.over.addEventListener("wheel", (event) => {
      event.preventDefault();
      if (event.shiftKey) pan(Math.sign(event.deltaY || event.deltaX) * 0.1);
      else zoom(event.deltaY > 0 ? 1.25 : 0.8, plot.posToVal(event.offsetX, "x"));
    }, { passive: false });
    return { node, plot, reads };
  };

  let waiting = false;
  const later = () => {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => { waiting = false; paint(); });
  };
  const paint = () => {
    for (const signal of state.shown) {
      const strip = strips.get(signal.key);
      if (strip.from !== state.from || strip.to !== state.to) {
        strip.from = state.from;
        strip.to = state.to;
        strip.plot.setScale("x", { min: state.from, max: state.to });
      } else strip.plot.redraw(false, false);
    }
    read();
  };
  const read = () => {
    $("now").textContent = clock(state.now);
    for (const signal of state.shown) {
      const { reads } = strips.get(signal.key);
      const bad = at(signal.bad, state.now, signal.gap), good = at(signal.good, state.now - state.shift, signal.gap);
      reads.b.textContent = data.badName + ": " + format(signal, bad);
      reads.g.textContent = signal.good.t.length ? data.goodName + ": " + format(signal, good) : "";
      reads.e.textContent = signal.expected.t.length ? "expected: " + format(signal, at(signal.expected, state.now, signal.gap)) : "";
    }
  };
  const fit = () => {
    const width = Math.max(280, $("strips").clientWidth - 26);
    const height = Math.max(110, Math.min(190, Math.round(innerHeight / 5)));
    for (const signal of state.shown) strips.get(signal.key).plot.setSize({ width, height });
  };
  const mark = () => {
    state.shown.forEach((signal, i) => strips.get(signal.key).node.classList.toggle("focus", i === state.focus));
  };
  const arrange = () => {
    for (const [key, strip] of [...strips])
      if (!state.shown.some((signal) => signal.key === key)) {
        strip.plot.destroy();
        strip.node.remove();
        strips.delete(key);
      }
    for (const signal of state.shown) {
      if (!strips.has(signal.key)) strips.set(signal.key, buildStrip(signal));
      $("strips").append(strips.get(signal.key).node);
    }
    state.focus = Math.max(0, Math.min(state.focus, state.shown.length - 1));
    for (const box of document.querySelectorAll("#chooser input"))
      box.checked = state.shown.some((signal) => signal.key === box.value);
    fit();
    mark();
    later();
  };
  const refill = () => {
    for (const signal of state.shown) strips.get(signal.key).plot.setData(tables(signal));
    later();
  };
  const toggle = (signal, on) => {
    state.shown = state.shown.filter((other) => other !== signal);
    if (on) state.shown.push(signal);
    arrange();
  };
  const move = (signal, by) => {
    const i = state.shown.indexOf(signal), j = i + by;
    if (j < 0 || j >= state.shown.length) return;
    [state.shown[i], state.shown[j]] = [state.shown[j], state.shown[i]];
    arrange();
  };

  // --- moving about -----------------------------------------------------------------------------------
  const zoomTo = (from, to) => {
    const least = 0.2, whole = span.to - span.from;
    let width = Math.min(Math.max(to - from, least), whole);
    from = Math.min(Math.max(from, span.from), span.to - width);
    state.from = from;
    state.to = from + width;
    later();
  };
  const zoom = (factor, about = state.now) => {
    if (about < state.from || about > state.to) about = (state.from + state.to) / 2;
    zoomTo(about - (about - state.from) * factor, about + (state.to - about) * factor);
  };
  const pan = (part) => {
    const by = (state.to - state.from) * part;
    zoomTo(state.from + by, state.to + by);
  };
  const goTo = (time) => {
    state.now = Math.min(Math.max(time, span.from), span.to);
    const width = state.to - state.from;
    if (state.now < state.from || state.now > state.to) zoomTo(state.now - width / 2, state.now + width / 2);
    else later();
  };
  const step = (by) => {
    const signal = state.shown[state.focus];
    if (!signal) return;
    const samples = signal.bad.t.length ? signal.bad : signal.good;
    const shift = signal.bad.t.length ? 0 : state.shift;
    const i = before(samples.t, state.now - shift + 1e-9);
    const here = i >= 0 && Math.abs(samples.t[i] + shift - state.now) < 1e-6;
    const next = by > 0 ? i + 1 : here ? i - 1 : i;
    if (next >= 0 && next < samples.t.length) goTo(samples.t[next] + shift);
  };
  const showSuspect = (i, place) => {
    const suspect = data.suspects[i];
    if (!suspect) return;
    const signal = data.signals.find((other) => other.key === suspect.signal);
    if (signal && !state.shown.includes(signal)) { state.shown.unshift(signal); arrange(); }
    state.focus = state.shown.indexOf(signal);
    document.querySelectorAll("#leads > li").forEach((item, j) => item.classList.toggle("chosen", i === j));
    const { time: start, end } = place ?? { time: suspect.spans[0][0], end: suspect.spans[0][1] };
    const around = Math.max(10, (end - start) * 1.5);
    zoomTo(start - around, end + around);
    goTo(start);
    mark();
  };
  const inOrder = data.suspects.flatMap((suspect, i) => suspect.spans.map(([time, end]) => ({ time, end, i }))).sort((a, b) => a.time - b.time);
  const nextSuspect = (by) => {
    const found = by > 0 ? inOrder.find((s) => s.time > state.now + 1e-6) : [...inOrder].reverse().find((s) => s.time < state.now - 1e-6);
    if (found) showSuspect(found.i, found);
  };
  const nextMark = () => {
    if (!data.marks.length) return;
    const times = data.marks.map((m) => m.time).sort((a, b) => a - b);
    goTo(times.find((time) => time > state.now + 1e-6) ?? times[0]);
  };
  let last = 0;
  const tick = (moment) => {
    if (!state.playing) return;
    if (last) {
      const to = state.now + (moment - last) / 1000 * state.speed * state.playing;
      if (to <= span.from || to >= span.to) play(0);
      goTo(to);
    }
    last = moment;
    requestAnimationFrame(tick);
  };
  const play = (direction) => {
    const idle = !state.playing;
    state.playing = direction;
    last = 0;
    $("forward").setAttribute("aria-pressed", String(direction > 0));
    $("backward").setAttribute("aria-pressed", String(direction < 0));
    if (direction && idle) requestAnimationFrame(tick);
  };
  const units = () => {
    state.us = !state.us;
    $("units").textContent = state.us ? "Show SI units" : "Show US units";
    $("units").setAttribute("aria-pressed", String(state.us));
    refill();
  };
  const look = (dark) => {
    document.documentElement.dataset.look = dark ? "dark" : "light";
    $("look").textContent = dark ? "Light" : "Dark";
    later();
  };
  const shiftGood = (by) => {
    state.shift += by;
    $("shift").textContent = clock(state.shift);
    refill();
  };

  // --- controls ---------------------------------------------------------------------------------------
  const actions = {
    first: () => goTo(span.from), last: () => goTo(span.to), stepback: () => step(-1), stepon: () => step(1),
    mark: nextMark, nextlead: () => nextSuspect(1), prevlead: () => nextSuspect(-1),
    forward: () => play(state.playing > 0 ? 0 : 1), backward: () => play(state.playing < 0 ? 0 : -1),
    closer: () => zoom(0.5), wider: () => zoom(2), whole: () => zoomTo(span.from, span.to),
    left: () => pan(-0.25), right: () => pan(0.25), units,
    look: () => look(document.documentElement.dataset.look !== "dark"),
    earlier: () => shiftGood(-0.1), later: () => shiftGood(0.1),
  };
  for (const [id, act] of Object.entries(actions)) $(id)?.addEventListener("click", act);
  $("speed").addEventListener("change", (event) => { state.speed = Number(event.target.value); });
  const keys = {
    ArrowRight: "stepon", ArrowLeft: "stepback", Home: "first", End: "last", m: "mark", d: "nextlead", D: "prevlead",
    " ": "forward", b: "backward", "+": "closer", "=": "closer", "-": "wider", "0": "whole", ",": "left", ".": "right",
    u: "units", l: "look", "[": "earlier", "]": "later",
  };
  addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const tag = event.target.tagName;
    if (tag === "SELECT" || tag === "INPUT" && event.target.type !== "checkbox") return;
    if (event.key === " " && (tag === "BUTTON" || tag === "INPUT" || tag === "SUMMARY")) return;
    if (event.key === "ArrowUp" || event.key === "ArrowDown") {
      state.focus = Math.min(Math.max(state.focus + (event.key === "ArrowUp" ? -1 : 1), 0), state.shown.length - 1);
      mark();
      strips.get(state.shown[state.focus]?.key)?.node.scrollIntoView({ block: "nearest" });
      event.preventDefault();
      return;
    }
    const action = actions[keys[event.key]];
    if (!action) return;
    event.preventDefault();
    action();
  });
  document.querySelectorAll("#leads > li").forEach((item, i) =>
    item.querySelector("button")?.addEventListener("click", () => showSuspect(i)));
  for (const signal of data.signals) {
    const box = make("input", { type: "checkbox", value: signal.key });
    box.addEventListener("change", () => toggle(signal, box.checked));
    $("chooser").append(make("label", {}, box, make("span", { textContent: signal.name }), make("small", { textContent: signal.ecu })));
  }
  addEventListener("resize", () => { fit(); later(); });

  // --- begin --------------------------------------------------------------------------------------------
  document.documentElement.classList.add("live");
  look(matchMedia("(prefers-color-scheme: dark)").matches);
  if (state.us) { state.us = false; units(); }
  $("shift").textContent = clock(state.shift);
  const wanted = new Set([...data.suspects.map((suspect) => suspect.signal), ...data.first]);
  state.shown = [...wanted].map((key) => data.signals.find((signal) => signal.key === key)).filter(Boolean).slice(0, 6);
  if (!state.shown.length) state.shown = data.signals.slice(0, 4);
  arrange();
  if (data.suspects.length) showSuspect(0);
  else if (data.marks.length) nextMark();
  else goTo(span.from);
  document.documentElement.dataset.ready = "yes";
})();
