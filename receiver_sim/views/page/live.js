"use strict";
(() => {
  const { show, sounds, pointed, add, path, clear, si } = window.receiver;
  const el = (id) => document.getElementById(id);
  const start = JSON.parse(el("start").textContent);
  const page = [...crypto.getRandomValues(new Uint8Array(16))].map((n) => n.toString(16).padStart(2, "0")).join("");
  let text = start.text, fields = start.fields, digest = "", bands = [], asked = 0, benchWanted = false;
  const built = { digest: "", bands: [], drawing: "" };
  let missing = [];  // deeper answers on this text that could not be computed, in words
  let ranges = { digest: "", bands: {} };  // where onset lies in eight of ten sets, of the text of that digest

  const post = async (what, body) => {
    const answer = await fetch(what, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });
    const type = answer.headers.get("content-type") || "";
    return { code: answer.status, data: type.startsWith("application/json") ? await answer.json() : { says: await answer.text() } };
  };
  const made = (kind, words, attributes) => {
    const one = document.createElement(kind);
    if (words !== undefined) one.textContent = words;
    for (const [name, value] of Object.entries(attributes || {})) one.setAttribute(name, value);
    return one;
  };
  const rows = (id, lines) => el(id).replaceChildren(...lines.map((cells) => {
    const row = made("tr");
    row.append(...cells.map((cell) => made("td", cell)));
    return row;
  }));
  const changed = () => text !== start.text;

  // ---------------------------------------------------------------- values
  const groupOf = (field) => {
    const [first, second] = field.path;
    if (first !== "bands" && first !== "phones") return field.path.length > 1 ? first : "set";
    const name = fields.find((one) => one.path[0] === first && one.path[1] === second && one.path[2] === "name");
    return first + ": " + (name ? name.text : second + 1);
  };
  const drawFields = () => {
    const open = new Set([...el("fields").querySelectorAll("details[open]")].map((one) => one.dataset.group));
    const groups = new Map(), focused = document.activeElement && document.activeElement.dataset.key;
    const first = new Map(start.fields.map((one) => [one.key, one.text]));
    for (const field of fields) {
      const group = groupOf(field);
      if (!groups.has(group)) groups.set(group, []);
      groups.get(group).push(field);
    }
    el("fields").replaceChildren(...[...groups].map(([group, inside]) => {
      const fold = made("details", undefined, { "data-group": group });
      fold.open = open.has(group);
      fold.append(made("summary", group), ...inside.map((field, i) => {
        const row = made("div", undefined, { class: "one" }), id = "f-" + fields.indexOf(field);
        const skip = field.path[0] === "bands" || field.path[0] === "phones" ? 2 : field.path.length > 1 ? 1 : 0;
        const label = made("label", field.path.slice(skip).map((step) => typeof step === "number" ? step + 1 : step).join(", "), { for: id });
        const entry = made(field.choices.length ? "select" : "input", undefined, { id, "data-key": field.key, title: [field.meaning, field.expected && "Expected: " + field.expected].filter(Boolean).join(" ") });
        for (const choice of field.choices) entry.append(made("option", choice));
        entry.value = field.text;
        if (first.get(field.key) !== field.text) row.classList.add("changed");
        entry.addEventListener("change", () => set(field, entry, row));
        row.append(label, entry);
        return row;
      }));
      return fold;
    }));
    if (focused) { const again = [...el("fields").querySelectorAll("[data-key]")].find((one) => one.dataset.key === focused); if (again) again.focus(); }
    find();
  };
  const find = () => {
    const word = el("find").value.trim().toLowerCase();
    for (const fold of el("fields").querySelectorAll("details")) {
      let any = false;
      for (const row of fold.querySelectorAll(".one")) {
        const fits = !word || (fold.dataset.group + " " + row.textContent).toLowerCase().includes(word);
        row.hidden = !fits; row.style.display = fits ? "" : "none"; any = any || fits;
      }
      fold.style.display = any ? "" : "none";
      if (word && any) fold.open = true;
    }
  };
  const set = (field, entry, row) => {
    for (const why of row.querySelectorAll(".why")) why.remove();
    entry.removeAttribute("aria-invalid");
    ask(text, { path: field.path, value: entry.value }, (faults) => {
      entry.setAttribute("aria-invalid", "true");
      row.append(...faults.map((fault) => made("p", fault.text, { class: "why", role: "alert" })));
    });
  };

  // ---------------------------------------------------------------- answers
  const faultsShown = (faults) => el("faults").replaceChildren(...faults.map((fault) => made("li", (fault.line ? "line " + fault.line + ": " : "") + fault.text)));
  const state = (words) => { el("state").textContent = words; };
  const ask = async (from, change, refused, remember = true) => {
    const mine = ++asked, began = performance.now();
    let answer;
    try { answer = await post("answer", { text: from, change: change || null }); } catch { state("The program no longer answers: start it again."); return; }
    if (mine !== asked) return;
    if (answer.code !== 200) {
      const faults = answer.data.faults || [{ line: 0, text: answer.data.says || "refused" }];
      if (refused) refused(faults); else faultsShown(faults);
      document.body.dataset.refused = String(mine);
      return;
    }
    faultsShown([]);
    const found = answer.data;
    if (remember && found.text !== text) history.pushState({ text: found.text }, "");
    text = found.text; fields = found.fields; digest = found.digest; bands = found.bands;
    if (!built.digest) { built.digest = digest; built.bands = bands; }
    el("text").value = text; el("title").textContent = found.title; el("verdict").textContent = found.says;
    dangers(found.dangers);
    drawFields();
    rows("differs", found.differs.length ? found.differs.map(([key, was, now]) => [key, was ?? "-", now ?? "-"]) : [["nothing", "", ""]]);
    el("sections").classList.add("stale");
    if (benchWanted && document.body.dataset.bench !== digest) { stale(true); el("bench-state").textContent = "These are those of another set; this one's follow."; }
    refresh();
    document.body.dataset.milliseconds = Math.round(performance.now() - began);
    document.body.dataset.answered = String(mine);
    draw(mine);
    missing = [];
    state("Deeper answers are being computed.");
    post("deeper", { page, text }).catch(() => state("The program no longer answers: start it again."));
  };
  const dangers = (told) => el("dangers").replaceChildren(...told.map((one) => made("p", one, { class: "danger" })));
  const draw = async (mine) => {
    const answer = await post("drawing", { text, band: el("band").value });
    if (answer.code !== 200 || mine !== asked) return;
    el("drawing").innerHTML = answer.data.svg;  // the drawing library's; the policy lets no script in it run
    if (!built.drawing) built.drawing = answer.data.svg;
    if (!el("drawing-built").firstChild) el("drawing-built").innerHTML = built.drawing;
    pointed();
    document.body.dataset.drawn = String(mine);
  };
  const refresh = () => {
    show({ bands, before: changed() ? built.bands : [] });
    strip(); beside(); gain();
  };
  const strip = () => {
    const lines = bands.map((one) => {
      const was = built.bands.find((b) => b.name === one.name), row = made("div", undefined, { class: "row", role: "row" });
      const line = made("span", undefined, { class: "line", role: "cell" });
      const place = (name, share) => line.append(made("span", undefined, { class: name, style: "left: " + (100 * share).toFixed(2) + "%" }));
      const sets = ranges.digest === digest ? ranges.bands[one.name] : undefined;
      if (sets) line.append(made("span", undefined, { class: "range", style: "left: " + (100 * sets[0]).toFixed(2) + "%; width: " + (100 * (sets[1] - sets[0])).toFixed(2) + "%" }));
      if (one.onset !== null) place("above", one.onset);
      if (changed() && was && was.onset !== null) place("before", was.onset);
      if (one.onset !== null) {
        place("mark", one.onset);
        line.append(made("span", (100 * one.onset).toFixed(1) + " %", { class: "say", style: "left: " + (100 * one.onset).toFixed(2) + "%" }));
      } else line.append(made("span", one.state || "no onset", { class: "none" }));
      row.append(made("span", one.name, { class: "name", role: "rowheader" }), line);
      if (sets) row.append(made("span", (100 * sets[0]).toFixed(0) + " to " + (100 * sets[1]).toFixed(0) + " %", { class: "sets", role: "cell" }));
      return row;
    });
    el("strip").replaceChildren(...lines);
  };
  const beside = () => rows("beside", bands.map((one) => {
    const was = built.bands.find((b) => b.name === one.name);
    const place = (b) => !b ? "-" : b.onset === null ? b.state || "no onset" : b.told || (100 * b.onset).toFixed(1) + " %";
    const moved = was && was.onset !== null && one.onset !== null ? (100 * (one.onset - was.onset)).toFixed(1) + " % of the travel" : "-";
    const top = (b) => !b || b.quick ? "being computed" : si(b.up[b.up.length - 1], "V");
    return [one.name, place(was), place(one), moved, top(was), top(one)];
  }));
  const gain = () => {
    const svg = el("gain"), name = el("band").value, now = bands.find((b) => b.name === name), was = built.bands.find((b) => b.name === name);
    clear(svg);
    if (!now) return;
    const most = Math.max(1.2, ...now.gain, ...(was ? was.gain : []));
    const x = (r) => 40 + 590 * r, y = (v) => 172 - 160 * Math.max(v, 0) / most;
    add(svg, "path", { class: "axis", d: "M40 8V172H632", fill: "none" });
    for (const share of [0, 0.25, 0.5, 0.75, 1]) add(svg, "text", { x: x(share), y: 188, "text-anchor": share === 1 ? "end" : "middle" }, 100 * share + (share === 1 ? " %" : ""));
    for (const value of [0, 1]) add(svg, "text", { x: 34, y: y(value) + 3, "text-anchor": "end" }, "T = " + value);
    add(svg, "path", { class: "thin", d: path([[40, y(1)], [632, y(1)]]) });
    if (was && changed()) add(svg, "path", { class: "was", d: path(was.rotation.map((r, i) => [x(r), y(was.gain[i])])) });
    add(svg, "path", { class: "curve", d: path(now.rotation.map((r, i) => [x(r), y(now.gain[i])])) });
    svg.dataset.top = now.gain[now.gain.length - 1];
  };
  document.addEventListener("band", () => { gain(); draw(asked); });

  // ---------------------------------------------------------------- deeper answers
  const put = (list, one) => {
    const at = list.findIndex((b) => b.name === one.name);
    if (at < 0) return;
    one.told = list[at].told; one.state = list[at].state;
    list[at] = one;
  };
  const events = new EventSource("events?page=" + page);
  const on = (kind, take) => events.addEventListener(kind, (event) => {
    const data = JSON.parse(event.data);
    if (data.digest === built.digest && kind === "band") { put(built.bands, data.band); if (data.digest !== digest) refresh(); }
    if (data.digest === digest) take(data);
  });
  on("stage", (data) => state("Deeper answers: " + data.what + ", " + data.done + " of " + data.total + "."));
  on("band", (data) => { put(bands, data.band); refresh(); document.body.dataset.deep = [...bands].filter((b) => !b.quick).length; });
  on("checked", (data) => {
    el("verdict").textContent = data.verdict; dangers(data.dangers);
    ranges = { digest: data.digest, bands: data.ranges }; strip();
    el("sections").innerHTML = data.html;  // made by the page's own template, which escapes every word
    el("sections").classList.remove("stale");
    document.body.dataset.checked = data.digest;
  });
  // ---------------------------------------------------------------- the bench: asked for once, then kept up
  const stale = (now) => { for (const id of ["bench-form", "bench-sheet"]) el(id).classList.toggle("stale", now); };
  const askBench = () => {
    benchWanted = true; el("bench-state").textContent = "being worked out";
    post("bench", { page, text }).catch(() => state("The program no longer answers: start it again."));
  };
  el("bench-ask").addEventListener("click", askBench);
  on("bench-stage", (data) => { el("bench-state").textContent = "being worked out: " + data.what + ", " + data.done + " of " + data.total; });
  on("bench-failed", (data) => { el("bench-state").textContent = "could not be worked out: " + data.why; });
  on("bench", (data) => {
    el("bench-sheet").innerHTML = data.html;  // made by the page's own template, which escapes every word
    window.bench.load(data.table);
    stale(false);
    el("bench-ask").hidden = true;
    el("bench-state").textContent = "";
    document.body.dataset.bench = data.digest;
  });
  on("failed", (data) => {
    missing.push(data.what + " could not be computed: " + data.why);
    state(missing[missing.length - 1]);
  });
  on("done", () => {
    state(missing.length ? "What could be computed is that of the values above. Missing: " + missing.join("; ") : "All answers are those of the values above.");
    document.body.dataset.done = digest;
    if (benchWanted && document.body.dataset.bench !== digest) askBench();
    askSound();
    // a change may have come before all was known of the set as built
    if (changed() && built.bands.some((one) => one.quick)) post("deeper", { page, text: start.text }).catch(() => undefined);
  });

  // ---------------------------------------------------------------- sound
  // pieces by text and band; what is played is that of the values above once there is any of it
  const pieces = new Map(), complete = new Set(), muted = new Map();
  let playing = false, waited = "", shown = "";
  const keyOf = (mark) => mark + " " + el("band").value;
  const wantedMark = () => el("version").value === "built" || !changed() ? built.digest : digest;
  const soundState = (words) => { el("sound-state").textContent = words; };
  const offer = () => {
    const key = keyOf(wantedMark()), list = pieces.get(key);
    if (list && list.length) { shown = key; sounds(list); }
    document.body.dataset.sound = list ? list.length : 0;
    document.body.dataset.soundOf = shown === keyOf(built.digest) ? "built" : shown === keyOf(digest) ? "changed" : "before";
    return shown === key;
  };
  const askSound = () => {
    if (!playing) return;
    const mark = wantedMark(), key = keyOf(mark), there = offer();
    if (complete.has(key)) { if (muted.has(key)) tellMuted(key); return; }
    if (waited === key) return;
    waited = key;
    pieces.set(key, []); muted.delete(key);
    if (!there) soundState(shown ? "The sound is still that of the values or the band before; the new one is being computed." : "The sound is being computed.");
    post("sound", { page, text: mark === built.digest ? start.text : text, band: el("band").value }).catch(() => undefined);
  };
  document.addEventListener("play", (event) => { playing = event.detail; askSound(); });
  document.addEventListener("band", askSound);
  el("version").addEventListener("change", askSound);
  const heard = (kind, take) => events.addEventListener(kind, (event) => {
    const data = JSON.parse(event.data);
    take(data, data.digest + " " + data.band);
  });
  heard("heard", (data, key) => {
    const list = pieces.get(key) || [];
    list.push(data.piece);
    pieces.set(key, list);
    if (offer()) soundState((el("version").value === "built" || !changed() ? "Heard: the set as built. " : "Heard: the changed set. ") +
      (data.cost > 1 ? "ngspice takes " + data.cost.toFixed(1) + " s for a second of sound here, so it is computed ahead, at some settings; while the control is turned the nearest of them is played."
        : "ngspice takes " + data.cost.toFixed(1) + " s for a second of sound here."));
  });
  const tellMuted = (key) => {
    if (key === keyOf(wantedMark())) soundState(((pieces.get(key) || []).length ? "Not all of the sound is there: " : "No sound: ") + muted.get(key).join("; "));
  };
  heard("mute", (data, key) => { muted.set(key, [...(muted.get(key) || []), data.why]); tellMuted(key); });
  heard("sounded", (data, key) => {
    complete.add(key);
    if (waited === key) waited = "";
    if (muted.has(key)) tellMuted(key);
    else if (key === keyOf(wantedMark()) && !(pieces.get(key) || []).length) soundState("No sound on this band: it has no onset on the control, or the set has no aerial.");
    document.body.dataset.sounded = String(complete.size);
  });

  // ---------------------------------------------------------------- text, undo, saving
  el("find").addEventListener("input", find);
  el("fields").addEventListener("submit", (event) => event.preventDefault());
  el("take").addEventListener("click", () => ask(el("text").value));
  el("undo").addEventListener("click", () => { if (changed() || history.state) history.back(); });
  el("built").addEventListener("click", () => ask(start.text));
  window.addEventListener("popstate", (event) => ask((event.state || { text: start.text }).text, null, null, false));
  el("save").addEventListener("click", async () => {
    const name = el("name").value;
    let answer = await post("save", { text, name });
    if (answer.code === 409 && window.confirm(answer.data.says + ". Put the changed build in its place?")) answer = await post("save", { text, name, replace: true });
    el("saved").textContent = answer.data.says || (answer.data.faults || []).map((fault) => fault.text).join("; ");
  });
  history.replaceState({ text }, "");
  drawFields();
  events.addEventListener("open", () => { if (!asked) ask(text, null, null, false); });
})();
