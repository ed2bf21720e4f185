"use strict";
(() => {
  let data = JSON.parse(document.getElementById("data").textContent);
  const el = (id) => document.getElementById(id);
  // a part is named by the pointer, a touch or the keyboard: the drawing is one stop, arrow keys go from part to part
  const pointed = () => {
    const parts = [...document.querySelectorAll(".drawing .part")], at = (part) => part.getBoundingClientRect();
    parts.sort((a, b) => Math.round(at(a).left / 40) - Math.round(at(b).left / 40) || at(a).top - at(b).top);
    parts.forEach((part, place) => {
      const title = part.querySelector("title"), stands = (data.stands || {})[part.dataset.ref];
      if (stands && !title.textContent.endsWith(stands)) title.textContent += " " + stands;
      part.setAttribute("aria-label", title.textContent);
      part.setAttribute("tabindex", place ? "-1" : "0");
      const tell = () => { el("part-says").textContent = title.textContent; };
      for (const event of ["pointerenter", "click", "focus"]) part.addEventListener(event, tell);
      part.addEventListener("keydown", (event) => {
        const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
        const next = step && parts[place + step];
        if (!next) return;
        event.preventDefault();
        part.setAttribute("tabindex", "-1"); next.setAttribute("tabindex", "0"); next.focus();
      });
    });
  };
  pointed();
  if (!data.bands.length) return;
  const knob = el("knob"), dial = el("dial"), bandBox = el("band"), stationBox = el("station");
  let band = data.bands[0], running = false, last = 0;

  // on the live page: the same band as built, once it is known, where the set has been changed
  const before = () => (data.before || []).find((one) => one.name === band.name && !one.quick) || null;
  const nearest = (values, x) => {
    let best = 0;
    for (let i = 1; i < values.length; i++) if (Math.abs(values[i] - x) < Math.abs(values[best] - x)) best = i;
    return best;
  };
  const si = (value, unit) => {
    if (value === null || value === undefined) return "-";
    const told = Number(value.toPrecision(2)), size = Math.abs(told);   // rounded first: 996 m is 1, not 1000 m
    if (size === 0) return "0 " + unit;
    const [scale, sign] = size >= 1e6 ? [1e6, "M"] : size >= 1e3 ? [1e3, "k"] : size >= 1 ? [1, ""] : size >= 1e-3 ? [1e-3, "m"] : [1e-6, "µ"];
    return Number((told / scale).toPrecision(2)) + " " + sign + unit;
  };

  // ---------------------------------------------------------------- pictures
  const NS = "http://www.w3.org/2000/svg";
  const clear = (svg) => { while (svg.firstChild) svg.removeChild(svg.firstChild); };
  const add = (svg, kind, attributes, text) => {
    const made = document.createElementNS(NS, kind);
    for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
    if (text !== undefined) made.textContent = text;
    svg.appendChild(made);
    return made;
  };
  const path = (points) => points.map((p, i) => (i ? "L" : "M") + p[0].toFixed(1) + " " + p[1].toFixed(1)).join("");
  const frame = (svg, xs, ys) => {
    clear(svg);
    add(svg, "path", { class: "axis", d: "M36 8V172H312", fill: "none" });
    for (const [x, text] of xs) add(svg, "text", { x: Math.min(x, 314), y: 186, "text-anchor": x > 290 ? "end" : "middle" }, text);
    for (const [y, text] of ys) add(svg, "text", { x: 32, y: y + 3, "text-anchor": "end" }, text);
  };

  const loopPicture = (at) => {
    const svg = el("loop"), gain = band.gain[at];
    clear(svg);
    let x = 20, length = 60, drawn = 0;
    const limit = 300;
    if (gain <= 0) { add(svg, "text", { x: 20, y: 100 }, "nothing comes round in step"); return; }
    for (let n = 0; n < 60 && length > 0.4 && x < limit; n++) {
      const end = Math.min(x + length, limit), y = 60 + 14 * (n % 8);
      add(svg, "path", { class: "curve", d: path([[x, y], [end, y]]) });
      if (end - x > 6) add(svg, "path", { class: "curve", d: path([[end - 5, y - 3], [end, y], [end - 5, y + 3]]) });
      x += length; length *= gain; drawn++;
    }
    const sum = gain < 1 ? (1 / (1 - gain)).toPrecision(3) + " times the first" : "grows without end";
    add(svg, "text", { x: 20, y: 20 }, "T = " + gain.toFixed(3));
    add(svg, "text", { x: 20, y: 36 }, "sum of all rounds: " + sum);
    if (x >= limit) add(svg, "text", { x: 312, y: 190, "text-anchor": "end" }, "and on beyond the edge");
    svg.dataset.gain = gain; svg.dataset.rounds = drawn;
  };

  const resonancePicture = (at, oscillates) => {
    const svg = el("resonance"), span = 20000;
    const x = (hz) => 174 + 138 * Math.sign(hz) * Math.sqrt(Math.abs(hz) / span), y = (db) => 172 - Math.min(Math.max((db + 30) / 80, 0), 1) * 164;
    frame(svg, [[36, "-20"], [x(-5000), "-5"], [174, "0"], [x(5000), "5"], [312, "20 kHz"]], [[y(-20), "-20"], [y(0), "0"], [y(20), "20"], [y(40), "40 dB"]]);
    const first = band.level.find((row) => row);
    const was = before(), then = was ? was.level[nearest(was.rotation, band.rotation[at])] : null;
    if (then) add(svg, "path", { class: "was", d: path(then.map((v, i) => [x(was.offset[i]), y(v)])) });
    if (first) add(svg, "path", { class: "thin", d: path(first.map((v, i) => [x(band.offset[i]), y(v)])) });
    const row = band.level[at];
    svg.dataset.peak = "";
    if (row) {
      add(svg, "path", { class: "curve", d: path(row.map((v, i) => [x(band.offset[i]), y(v)])) });
      svg.dataset.peak = Math.max(...row);
    } else {
      add(svg, "path", { class: "other", d: path([[174, 172], [174, 8]]) });
      add(svg, "text", { x: 182, y: 24 }, band.quick ? "being computed" : oscillates ? "it oscillates by itself" : "no curve at this setting");
    }
    if (stationBox.value !== "none") {
      const at = x(-Number(dial.value));
      add(svg, "path", { class: "bar", d: path([[at, 172], [at, 150]]) });
      add(svg, "text", { x: at + 4, y: 152 }, "station");
    }
  };

  const strengthPicture = (at, now) => {
    const was = before(), svg = el("strength"), top = Math.max(...band.down, ...band.up, ...(was ? was.down : []), 1e-9);
    const x = (r) => 36 + 276 * r, y = (v) => 172 - 156 * v / top;
    frame(svg, [[36, "0"], [174, "50"], [312, "100 %"]], [[y(0), "0"], [y(top), si(top, "V")]]);
    if (was) add(svg, "path", { class: "was", d: path(was.rotation.map((r, i) => [x(r), y(was.up[i])])) });
    if (band.quick) { add(svg, "text", { x: 60, y: 24 }, "being computed"); svg.dataset.volts = ""; return; }
    add(svg, "path", { class: "other", d: path(band.rotation.map((r, i) => [x(r), y(band.down[i])])) });
    add(svg, "path", { class: "curve", d: path(band.rotation.map((r, i) => [x(r), y(band.up[i])])) });
    add(svg, "circle", { class: "point", cx: x(band.rotation[at]), cy: y(now), r: 5 });
    svg.dataset.volts = now;
  };

  // ---------------------------------------------------------------- sound
  const decoded = new WeakMap();
  const samplesOf = (piece) => {
    if (!decoded.has(piece)) {
      const raw = atob(piece.samples), out = new Float32Array(raw.length / 2);
      for (let i = 0; i < out.length; i++) {
        const n = raw.charCodeAt(2 * i) | (raw.charCodeAt(2 * i + 1) << 8);
        out[i] = (n > 32767 ? n - 65536 : n) / 32767 * piece.volt;
      }
      decoded.set(piece, out);
    }
    return decoded.get(piece);
  };
  const pieceFor = (rotation) => {
    const fit = data.heard.filter((p) => p.band === band.name && p.station === stationBox.value);
    return fit.length ? fit[nearest(fit.map((p) => p.rotation), rotation)] : null;
  };
  const placeIn = (piece, length) => {
    const all = samplesOf(piece).length;
    if (piece.from === piece.to) return 0;
    const share = (-Number(dial.value) - piece.from) / (piece.to - piece.from);
    return Math.round(Math.min(Math.max(share * all - length / 2, 0), all - length));
  };
  const fft = (re, im) => {
    const n = re.length;
    for (let i = 1, j = 0; i < n; i++) {
      let bit = n >> 1;
      for (; j & bit; bit >>= 1) j ^= bit;
      j ^= bit;
      if (i < j) { [re[i], re[j]] = [re[j], re[i]]; [im[i], im[j]] = [im[j], im[i]]; }
    }
    for (let size = 2; size <= n; size <<= 1) {
      const turn = -2 * Math.PI / size;
      for (let i = 0; i < n; i += size) for (let k = 0; k < size / 2; k++) {
        const c = Math.cos(turn * k), s = Math.sin(turn * k), a = i + k, b = a + size / 2;
        const tr = re[b] * c - im[b] * s, ti = re[b] * s + im[b] * c;
        re[b] = re[a] - tr; im[b] = im[a] - ti; re[a] += tr; im[a] += ti;
      }
    }
  };
  const spectrumPicture = (rotation) => {
    const svg = el("spectrum"), x = (hz) => 36 + 276 * Math.log(hz / 50) / Math.log(100), y = (db) => 172 - Math.min(Math.max((db + 10) / 110, 0), 1) * 164;
    frame(svg, [[x(100), "100"], [x(500), "500"], [x(1000), "1k"], [x(4000), "4 kHz"]], [[y(0), "0"], [y(40), "40"], [y(80), "80 dB"]]);
    add(svg, "path", { class: "thin", d: path(data.hearing.filter((p) => p[0] >= 50 && p[0] <= 5000).map((p) => [x(p[0]), y(p[1])])) });
    for (const [hz, db] of data.hum) if (hz >= 50 && db > -10) add(svg, "path", { class: "bar", d: path([[x(hz), 172], [x(hz), y(db)]]) });
    const piece = pieceFor(rotation);
    svg.dataset.pitch = ""; svg.dataset.level = "";
    if (!piece || piece.spl === null) { add(svg, "text", { x: 60, y: 24 }, stationBox.value === "none" ? "no station" : "not computed for this band"); return null; }
    const n = 2048, from = placeIn(piece, n), source = samplesOf(piece), re = new Float64Array(n), im = new Float64Array(n);
    let mean = 0;
    for (let i = 0; i < n; i++) mean += (source[from + i] || 0) / n;
    for (let i = 0; i < n; i++) re[i] = ((source[from + i] || 0) - mean) * (1 - Math.cos(2 * Math.PI * i / n));
    fft(re, im);
    const line = [];
    let best = -200, pitch = 0;
    for (let k = 1; k < n / 2; k++) {
      const hz = k * piece.rate / n, volts = 2 * Math.hypot(re[k], im[k]) / n / Math.SQRT2, db = piece.spl + 20 * Math.log10(volts + 1e-12);
      if (hz >= 50 && hz <= 5000) line.push([x(hz), y(db)]);
      if (hz >= 50 && db > best) { best = db; pitch = hz; }
    }
    add(svg, "path", { class: "curve", d: path(line) });
    svg.dataset.pitch = pitch; svg.dataset.level = best; svg.dataset.rotation = piece.rotation;
    return { pitch, best, piece };
  };

  const REFERENCE = 0.05;  // r.m.s. of full scale that stands for 60 dB SPL
  let audio = null, out = null, timer = null, next = 0, step = 0;
  const start = () => {
    if (audio) return;
    audio = new AudioContext();
    out = audio.createDynamicsCompressor();
    out.threshold.value = -6; out.ratio.value = 20; out.connect(audio.destination);
  };
  const grain = () => {
    const piece = pieceFor(band.rotation[nearest(band.rotation, Number(knob.value) / 100)]);
    if (!piece) { next = audio.currentTime + 0.25; return; }  // silence, longer than is made ahead at a time
    const source = samplesOf(piece), still = piece.from === piece.to;
    const length = Math.min(Math.round(piece.rate * (still ? 0.3 : 0.16)), source.length);
    const from = still ? Math.round(step * length / 2) % Math.max(source.length - length, 1) : placeIn(piece, length);
    step++;
    const buffer = audio.createBuffer(1, length, piece.rate), to = buffer.getChannelData(0);
    const scale = piece.spl === null ? 0.2 / piece.volt : REFERENCE * Math.pow(10, (piece.spl - 60) / 20);
    for (let i = 0; i < length; i++) to[i] = source[from + i] * scale * 0.5 * (1 - Math.cos(2 * Math.PI * i / length));
    const player = audio.createBufferSource();
    player.buffer = buffer; player.connect(out); player.start(next);
    next += length / piece.rate / 2;
  };
  const play = (on) => {
    el("play").setAttribute("aria-pressed", String(on));
    el("play").textContent = on ? "Stop" : "Play";
    if (on) {
      start(); audio.resume(); next = audio.currentTime + 0.05;
      timer = setInterval(() => { while (next < audio.currentTime + 0.2) grain(); }, 50);
    } else { clearInterval(timer); timer = null; }
    document.dispatchEvent(new CustomEvent("play", { detail: on }));
  };
  if (el("play")) {
    el("play").addEventListener("click", () => play(timer === null));
    el("reference").addEventListener("click", () => {
      start(); audio.resume();
      const tone = audio.createOscillator(), level = audio.createGain();
      tone.frequency.value = 1000; level.gain.value = REFERENCE * Math.SQRT2;
      tone.connect(level); level.connect(out); tone.start(); tone.stop(audio.currentTime + 1.5);
    });
  }

  // ---------------------------------------------------------------- turning
  const sentence = (at, oscillates, now, heard) => {
    const gain = band.gain[at], width = band.width[at], rotation = band.rotation[at];
    let text;
    if (!oscillates && band.quick && band.onset !== null && rotation >= band.onset) {
      text = "Above onset: it oscillates; how strongly is being computed.";
    } else if (oscillates) {
      const strong = band.onset !== null && rotation > 1.3 * band.onset;
      text = (strong ? "Far above onset: oscillating at " : "Oscillating at ") + si(now, "V") + ".";
      if (stationBox.value === "carrier" && Math.abs(Number(dial.value)) < 1) text += " The dial is on the carrier: zero beat, no whistle.";
      else if (stationBox.value === "carrier") text += " A carrier " + si(Math.abs(Number(dial.value)), "Hz") + " away becomes a whistle" + (heard ? " of " + si(heard.pitch, "Hz") : "") + ".";
      if (strong) text += " Weak stations drown, and an aerial radiates.";
      if (band.up[at] === 0) text += " It started further up and holds on here: backlash.";
    } else {
      const near = gain > 0.97 ? "At the edge: " : gain > 0.8 ? "Just below onset: " : "Below onset: ";
      text = near + "T = " + gain.toFixed(2) + (width === null ? "." : "; the tank passes " + si(width, "Hz") + ".");
      if (width !== null) text += width > 6000 ? " Speech is clear." : width > 2500 ? " Speech is heard well." : " Speech is muffled, its high notes are cut.";
    }
    if (heard && heard.best > -5) text += " Loudest tone in the phones: " + Math.round(heard.best) + " dB SPL at " + si(heard.pitch, "Hz") + ".";
    return text;
  };
  const update = () => {
    const asked = Number(knob.value) / 100, at = nearest(band.rotation, asked), rotation = band.rotation[at];
    if (band.up[at] > 0) running = true;
    else if (band.down[at] === 0) running = false;
    const now = running ? band.down[at] : 0, shown = (100 * rotation).toFixed(1) + " %";
    const figure = band.unit === "V" ? si(band.figure[at], "V") : band.figure[at].toFixed(1) + " " + band.unit;
    el("knob-out").textContent = shown + ", " + figure + " " + band.sets;
    knob.setAttribute("aria-valuetext", shown + " of the travel, " + (running ? "oscillating" : "not oscillating"));
    el("dial-out").textContent = dial.value + " Hz";
    dial.setAttribute("aria-valuetext", dial.value + " hertz");
    loopPicture(at); resonancePicture(at, running); strengthPicture(at, now);
    const heard = spectrumPicture(rotation), says = sentence(at, running, now, heard);
    el("says").textContent = says;
    document.body.dataset.at = at; last = asked;
  };
  const show = (changed) => {
    const name = band.name;
    data = { ...data, ...changed };
    band = data.bands.find((one) => one.name === name) || data.bands[0];
    bandBox.replaceChildren(...data.bands.map((one) => { const o = document.createElement("option"); o.textContent = one.name; return o; }));
    bandBox.selectedIndex = data.bands.indexOf(band);
    running = false;
    update();
  };
  const choose = () => {
    band = data.bands[bandBox.selectedIndex]; running = false;
    knob.value = band.onset === null ? 50 : (95 * band.onset).toFixed(1);
    update();
    document.dispatchEvent(new CustomEvent("band", { detail: band.name }));
  };
  const sounds = (heard) => { data = { ...data, heard }; update(); };
  window.receiver = { show, sounds, pointed, add, path, clear, si };
  bandBox.addEventListener("change", choose);
  const known = data.heard.length ? data.bands.findIndex((one) => one.name === data.heard[0].band) : 0;
  bandBox.selectedIndex = Math.max(known, 0);
  for (const one of [knob, dial, stationBox]) one.addEventListener("input", update);
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || /^(SELECT|TEXTAREA)$/.test(event.target.tagName)) return;
    const turn = { u: 1, d: -1 }[event.key];
    if (turn) { knob.value = Number(knob.value) + turn; update(); }
    if (event.key === "p" && el("play")) play(timer === null);
  });
  choose();
})();
