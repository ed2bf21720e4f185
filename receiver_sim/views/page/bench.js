"use strict";
// Readings typed at the bench against every fault that ngspice ran beforehand: the same sums as `faults` makes.
(() => {
  const el = (id) => document.getElementById(id);
  const made = (kind, words, attributes) => {
    const one = document.createElement(kind);
    if (words !== undefined) one.textContent = words;
    for (const [name, value] of Object.entries(attributes || {})) one.setAttribute(name, value);
    return one;
  };
  let data = null, rules = null;

  // ---------------------------------------------------------------- normal distribution
  // erfc by its series near zero and by its continued fraction further out (both exact in the limit)
  const logErfc = (x) => {
    if (x < 2.5) {
      let term = x, sum = x;
      for (let n = 1; n < 200 && Math.abs(term) > 1e-18 * Math.abs(sum); n++) { term *= -x * x / n; sum += term / (2 * n + 1); }
      const erf = 2 / Math.sqrt(Math.PI) * sum;
      return x < -5 ? Math.log(2) : Math.log(1 - erf);
    }
    let f = 0;
    for (let n = 120; n > 0; n--) f = n / 2 / (x + f);
    return -x * x - Math.log(Math.sqrt(Math.PI) * (x + f));
  };
  const logNormal = (x) => logErfc(-x / Math.SQRT2) - Math.LN2;
  const below = (x) => Math.exp(logNormal(x));
  // log probability, mean and variance of a normal deviate beyond a
  const beyond = (a) => {
    const share = logNormal(-a), ratio = Math.exp(-0.5 * a * a - 0.5 * Math.log(2 * Math.PI) - share);
    return [share, ratio, Math.min(Math.max(1 + a * ratio - ratio * ratio, 1e-6), 1)];
  };
  const truncated = (a, b) => {
    if (a === -Infinity) {
      const [share, mean, variance] = b === Infinity ? [0, 0, 1] : beyond(-b);
      return [share, -mean, variance];
    }
    return beyond(a);
  };

  // ---------------------------------------------------------------- matrices
  const cholesky = (m) => {
    const n = m.length, low = m.map((row) => row.slice());
    for (let i = 0; i < n; i++) for (let j = 0; j <= i; j++) {
      let sum = m[i][j];
      for (let k = 0; k < j; k++) sum -= low[i][k] * low[j][k];
      low[i][j] = i === j ? Math.sqrt(sum) : sum / low[j][j];
    }
    return low;
  };
  const forward = (low, b) => {
    const x = [];
    for (let i = 0; i < low.length; i++) { let sum = b[i]; for (let k = 0; k < i; k++) sum -= low[i][k] * x[k]; x.push(sum / low[i][i]); }
    return x;
  };
  const square = (x) => x.reduce((sum, v) => sum + v * v, 0);
  const among = (m, rows, columns) => rows.map((i) => columns.map((j) => m[i][j]));

  // ---------------------------------------------------------------- onset
  const logAt = (curve, at) => {
    if (!curve.length) return Math.log(rules.none_at_all);
    let gain = at <= curve[0][0] ? curve[0][1] : curve[curve.length - 1][1];
    for (let i = 1; i < curve.length; i++) if (at >= curve[i - 1][0] && at < curve[i][0]) {
      const [[x0, y0], [x1, y1]] = [curve[i - 1], curve[i]];
      gain = y0 + (y1 - y0) / (x1 - x0) * (at - x0);
      break;
    }
    return Math.log(Math.max(gain, rules.none_at_all));
  };
  const needed = (curve, seen) => {
    if (seen === null) return { low: -Infinity, high: -Math.log(Math.max(rules.none_at_all, ...curve.map((p) => p[1]))), slope: 1, placed: false };
    if (seen <= 0) return { low: -logAt(curve, 0), high: Infinity, slope: 1, placed: false };
    const at = -logAt(curve, seen), low = Math.max(seen - rules.near, 0), high = Math.min(seen + rules.near, 1);
    return { low: at, high: at, slope: Math.max((logAt(curve, high) - logAt(curve, low)) / (high - low), rules.least_slope), placed: true };
  };

  // ---------------------------------------------------------------- what was seen beside a prediction
  const full = (v) => data.ranges.find((r) => Math.abs(v) < 0.95 * r) || data.ranges[data.ranges.length - 1];
  const whole = (one) => {
    if (one.matrix) return one.matrix;
    const n = one.middles.length, m = Array.from({ length: n }, () => new Array(n));
    for (let i = 0, at = 0; i < n; i++) for (let j = 0; j <= i; j++) m[i][j] = m[j][i] = one.covariance[at++];
    return (one.matrix = m);
  };
  const beside = (seen, one) => {
    const count = data.points.length, bands = seen.bands.filter((b) => one.curves[b.index]);
    const needs = bands.map((b) => needed(one.curves[b.index], b.at));
    const index = [...seen.volts.map((v) => v.index), ...bands.map((b) => count + b.index)];
    const error = Math.hypot(seen.error, rules.model_error);
    const noise = [
      ...seen.volts.map((v) => Math.hypot(error * Math.abs(one.volts[v.index]), rules.least_v + rules.full_scale_error * full(v.value))),
      ...needs.map((need) => Math.hypot(rules.gain_error, rules.onset_error * need.slope)),
    ];
    const covariance = among(whole(one), index, index);
    noise.forEach((width, i) => { covariance[i][i] += width * width; });
    const off = [...seen.volts.map((v) => v.value - one.volts[v.index]), ...needs.map((need) => need.placed ? need.low : 0)].map((v, i) => v - one.middles[index[i]]);
    return { off, covariance, needs, count: seen.volts.length, bands };
  };
  const rowsOf = (fit, placed) => {
    const ends = fit.needs.map((need, k) => [need, fit.count + k]).filter(([need]) => need.placed === placed).map(([, row]) => row);
    return placed ? [...Array(fit.count).keys(), ...ends] : ends;
  };
  const bandsBeyond = (fit, rows, rest) => {
    const all = fit.covariance;
    let middle = rest.map((row) => -fit.off[row]), left = among(all, rest, rest);
    if (rows.length) {
      const low = cholesky(among(all, rows, rows)), half = rest.map((row) => forward(low, rows.map((r) => all[r][row])));
      const own = forward(low, rows.map((r) => fit.off[r]));
      middle = middle.map((v, i) => v + half[i].reduce((sum, h, k) => sum + h * own[k], 0));
      left = left.map((line, i) => line.map((v, j) => v - half[i].reduce((sum, h, k) => sum + h * half[j][k], 0)));
    }
    let log = 0;
    const n = rest.length;
    for (let i = 0; i < n; i++) {
      const need = fit.needs[rest[i] - fit.count], width = Math.sqrt(left[i][i]);
      const [share, mean, variance] = truncated((need.low - middle[i]) / width, (need.high - middle[i]) / width);
      log += share;
      const pull = left.map((line) => line[i] / width);
      for (let j = i + 1; j < n; j++) middle[j] += pull[j] * mean;
      for (let j = i + 1; j < n; j++) for (let k = i + 1; k < n; k++) left[j][k] -= pull[j] * pull[k] * (1 - variance);
    }
    return log;
  };
  const loud = (one) => {
    const sound = data.causes[0].sizes[0];
    return [one.gain, one.hum, sound.gain, sound.hum].includes(null) ? null : [one.gain - sound.gain, one.hum - sound.hum];
  };
  const heardAs = (one) => {
    const found = loud(one);
    if (!found) return null;
    return found[1] > rules.hum_db ? "loud hum" : found[0] < rules.nothing_db ? "nothing" : found[0] < rules.weak_db ? "weak" : "normal";
  };
  const heardShares = (one) => {
    const found = loud(one);
    if (!found) return null;
    const hum = below((found[1] - rules.hum_db) / rules.loudness_db);
    const [nothing, weak] = [rules.nothing_db, rules.weak_db].map((limit) => below((limit - found[0]) / rules.loudness_db));
    const plain = { "loud hum": hum, nothing: (1 - hum) * nothing, weak: (1 - hum) * (weak - nothing), normal: (1 - hum) * (1 - weak) };
    return Object.fromEntries(Object.entries(plain).map(([word, share]) => [word, rules.odd + (1 - 4 * rules.odd) * share]));
  };
  const fit = (seen, one) => {
    const fitted = beside(seen, one), rows = rowsOf(fitted, true), rest = rowsOf(fitted, false);
    let log = 0, deviation = 0;
    if (rows.length) {
      const low = cholesky(among(fitted.covariance, rows, rows)), scaled = square(forward(low, rows.map((r) => fitted.off[r])));
      log = -0.5 * scaled - low.reduce((sum, line, i) => sum + Math.log(line[i]), 0) - 0.5 * rows.length * Math.log(2 * Math.PI);
      for (const need of fitted.needs) if (need.placed) log += Math.log(need.slope);
      deviation = Math.sqrt(scaled / rows.length);
    }
    if (rest.length) log += bandsBeyond(fitted, rows, rest);
    const shares = seen.heard === null ? null : heardShares(one);
    if (shares) log += Math.log(shares[seen.heard]);
    return { log, deviation };
  };
  const figures = (seen, one, fitted, matrix) => [
    ...seen.volts.map((v) => one.volts[v.index]),
    ...fitted.needs.map((need, k) => {
      if (need.placed) return -need.low;
      const row = fitted.count + k, width = rules.far * Math.sqrt(matrix[row][row]), end = need.low === -Infinity ? need.high : need.low;
      return Math.min(Math.max(-end, -width), width);
    }),
  ];
  const alike = (seen, one, other) => {
    if (seen.heard !== null && heardAs(one) !== heardAs(other)) return false;
    if (one.curves.some((curve, i) => !curve !== !other.curves[i])) return false;
    const first = beside(seen, one), second = beside(seen, other);
    if (!first.off.length) return true;
    const matrix = first.covariance.map((line, i) => line.map((v, j) => 0.5 * (v + second.covariance[i][j])));
    const a = figures(seen, one, first, matrix), b = figures(seen, other, second, matrix);
    return Math.sqrt(square(forward(cholesky(matrix), a.map((v, i) => v - b[i])))) <= rules.alike;
  };

  // ---------------------------------------------------------------- what can hurt, what to read next
  const alone = (fitted, row) => {
    const width = Math.sqrt(fitted.covariance[row][row]), need = row >= fitted.count ? fitted.needs[row - fitted.count] : null;
    if (need === null || need.placed) return -0.5 * (fitted.off[row] / width) ** 2 - Math.log(width / (need === null ? 1 : need.slope));
    return bandsBeyond(fitted, [], [row]);
  };
  const told = (seen, one) => {
    const sound = data.causes[0].sizes[0], first = beside(seen, one), second = beside(seen, sound), out = [];
    if (first.off.length === second.off.length) {
      const a = figures(seen, one, first, first.covariance), b = figures(seen, sound, second, second.covariance);
      a.forEach((v, row) => {
        const widths = [first, second].map((x) => Math.sqrt(x.covariance[row][row]));
        if (Math.abs(v - b[row]) > rules.moves * Math.min(...widths)) out.push(alone(second, row) - alone(first, row));
      });
    }
    if (seen.heard !== null && ![null, heardAs(sound)].includes(heardAs(one))) {
      const shares = [heardShares(sound), heardShares(one)];
      if (shares[0] && shares[1]) out.push(Math.log(shares[0][seen.heard] / shares[1][seen.heard]));
    }
    return out;
  };
  const hazards = (seen, shares) => {
    const out = [];
    data.causes.forEach((cause, n) => {
      if (!cause.hazard) return;
      const left = cause.sizes.map((size) => told(seen, size)).filter((own) => !own.some((log) => log > rules.ruled_out));
      if (left.length) out.push({ name: cause.name, why: cause.hazard, share: shares[n], tested: left.every((own) => own.length > 0) });
    });
    return out.sort((a, b) => b.share - a.share || (a.name < b.name ? -1 : 1));
  };
  const nextReading = (seen, leaders) => {
    const taken = new Set(seen.volts.map((v) => v.index));
    let best = 0, choice = null;
    data.points.forEach((point, index) => {
      if (taken.has(index)) return;
      const volts = leaders.map((one) => one.size.true[index]);
      let apart = 0;
      volts.forEach((a, i) => volts.slice(0, i).forEach((b) => {
        apart += Math.min(Math.abs(a - b) / Math.hypot(rules.least_v, rules.apart * Math.max(Math.abs(a), Math.abs(b))), rules.most_apart);
      }));
      if (apart > best) { best = apart; choice = { where: point.name, volts: leaders.map((one, i) => [one.name, volts[i]]) }; }
    });
    return best < rules.least_apart ? null : choice;
  };

  // ---------------------------------------------------------------- the ranking
  const rank = (seen) => {
    const fitted = data.causes.map((cause) => {
      const sizes = cause.sizes.map((size) => ({ size, ...fit(seen, size) }));
      const best = sizes.reduce((a, b) => b.log > a.log ? b : a), top = best.log;
      return { cause, size: best.size, deviation: best.deviation, log: cause.prior + top + Math.log(sizes.reduce((sum, s) => sum + Math.exp(s.log - top), 0)) };
    });
    const top = Math.max(...fitted.map((one) => one.log)), total = fitted.reduce((sum, one) => sum + Math.exp(one.log - top), 0);
    const shares = fitted.map((one) => Math.exp(one.log - top) / total);
    const order = fitted.map((_, n) => n).sort((a, b) => shares[b] - shares[a]);
    const groups = [[0]];
    for (const n of order) if (n) {
      const group = groups.find((g) => alike(seen, fitted[n].size, fitted[g[0]].size));
      if (group) group.push(n); else groups.push([n]);
    }
    const mass = groups.map((group) => group.reduce((sum, n) => sum + shares[n], 0));
    const places = groups.map((_, g) => g).sort((a, b) => mass[b] - mass[a]);
    return {
      healthy: places[0] === 0,
      sound: mass[0],
      soundDeviation: fitted[0].deviation, notShown: groups[0].slice(1).map((n) => fitted[n].cause.name),
      suspects: places.filter((g) => g).map((g) => ({
        names: groups[g].map((n) => fitted[n].cause.name), size: fitted[groups[g][0]].size.words, share: mass[g], deviation: fitted[groups[g][0]].deviation,
      })),
      hazards: hazards(seen, shares),
      next: nextReading(seen, order.slice(0, rules.leaders).filter((n) => shares[n] > rules.worth).map((n) => ({ name: fitted[n].cause.name, size: fitted[n].size }))),
    };
  };

  // ---------------------------------------------------------------- the form
  const number = (entry, low, high) => {
    const text = entry.value.trim().replace(",", ".").replace(/\s*(V|%)$/i, "");
    entry.removeAttribute("aria-invalid");
    if (!text) return undefined;
    const value = Number(text);
    if (Number.isFinite(value) && value >= low && value <= high) return value;
    entry.setAttribute("aria-invalid", "true");
    return undefined;
  };
  const read = () => ({
    volts: data.points.map((_, index) => ({ index, value: number(el("volt-" + index), -1000, 1000) })).filter((v) => v.value !== undefined),
    bands: data.bands.map((_, index) => {
      const at = number(el("onset-" + index), 0, 100);
      return el("none-" + index).checked ? { index, at: null } : { index, at: at === undefined ? undefined : at / 100 };
    }).filter((b) => b.at !== undefined),
    error: (number(el("reading-error"), 0.1, 30) ?? 3) / 100,
    heard: el("heard").value || null,
  });
  const some = (names, most) => names.slice(0, most).join("; ") + (names.length > most ? "; and " + (names.length - most) + " more" : "");
  const percent = (share, digits) => (100 * share).toFixed(digits) + " %";
  const row = (cells, head) => {
    const line = made("tr");
    line.append(...cells.map((cell) => cell instanceof Node ? cell : made(head ? "th" : "td", cell)));
    return line;
  };
  const tell = () => {
    const seen = read(), any = seen.volts.length + seen.bands.length > 0 || seen.heard !== null;
    const wrong = document.querySelectorAll("#readings [aria-invalid=true]").length;
    el("readings-wrong").textContent = wrong ? wrong + (wrong === 1 ? " entry is" : " entries are") + " not understood and not counted: volts from -1000 to 1000, per cent from 0 to 100." : "";
    el("bench-answer").hidden = !any;
    document.body.dataset.suspects = "";
    if (!any) { el("fault-says").textContent = "Nothing is typed yet."; el("rule-out").replaceChildren(); el("untested").textContent = ""; return null; }
    const found = rank(seen), first = found.suspects[0];
    el("rule-out").replaceChildren(...found.hazards.filter((one) => one.tested).map((one) => made("p", (one.share >= 0.05 ? "DANGER, " : "CAUTION, ") + one.name + " is not ruled out: " + one.why + ".", { class: "danger" })));
    const untested = found.hazards.filter((one) => !one.tested);
    el("untested").textContent = untested.length ? "No reading here tests these, which can hurt: " + untested.map((one) => one.name + " (" + one.why + ")").join("; ") + "." : "";
    el("fault-says").textContent = found.healthy
      ? "These readings are those of a sound set (" + percent(found.sound, 0) + ")." + (found.notShown.length ? " They can't show: " + some(found.notShown, 8) + "." : "")
      : "Most likely " + first.names.slice(0, 4).join(" or ") + (first.names[0].endsWith(": " + first.size) ? "" : " (" + first.size + ")") + ", " + percent(first.share, 0) + "." + (first.names.length > 1 ? " These readings can't separate them." : "");
    const off = found.healthy ? found.soundDeviation : first.deviation;
    if (off > rules.poorly) el("fault-says").textContent += " That explains them poorly (off by " + off.toFixed(1) + " standard deviations): think of two faults at once, a wrong joint, a reading on another range or of another pin.";
    el("suspects").replaceChildren(...[["sound set", "", found.sound, found.soundDeviation], ...found.suspects.slice(0, 8).map((one) => [some(one.names, 6), one.size, one.share, one.deviation])]
      .sort((a, b) => b[2] - a[2]).map(([names, size, share, deviation]) => {
        const cell = made("td"), bar = made("span", undefined, { class: "share", style: "width: " + (6 * share).toFixed(2) + "rem" });
        cell.append(bar, percent(share, 1));
        return row([names, size, cell, deviation.toFixed(1)]);
      }));
    el("next").hidden = !found.next;
    if (found.next) {
      el("next-says").textContent = found.next.where + ", " + data.meter + " meter. " + data.how;
      el("next-volts").replaceChildren(...found.next.volts.map(([name, volts]) => row([name, volts.toFixed(2) + " V"])));
    }
    document.body.dataset.suspects = found.healthy ? "sound set" : first.names[0];
    return found;
  };
  let timer = null;
  const soon = () => { clearTimeout(timer); timer = setTimeout(tell, 120); };
  const entry = (id, label, width) => {
    const one = made("input", undefined, { id, type: "text", inputmode: "decimal", autocomplete: "off", "aria-label": label, size: width });
    one.addEventListener("input", soon);
    return one;
  };
  const cellOf = (...inside) => { const cell = made("td"); cell.append(...inside); return cell; };
  const load = (table) => {
    data = table; rules = table.rules;
    const kept = new Map([...document.querySelectorAll("#readings input")].map((one) => [one.dataset.name, one.type === "checkbox" ? one.checked : one.value]));
    el("bench-setting").textContent = data.setting;
    el("volts-body").replaceChildren(...data.points.map((point, index) => {
      const one = entry("volt-" + index, point.name + ", volts read", 8);
      one.dataset.name = "v " + point.name; one.value = kept.get(one.dataset.name) || "";
      return row([made("th", point.name, { scope: "row" }), point.should.toFixed(Math.abs(point.should) < 20 ? 2 : 1) + " V", cellOf(one, " V")]);
    }));
    el("onset-body").replaceChildren(...data.bands.map((name, index) => {
      const one = entry("onset-" + index, "onset on " + name + ", per cent of the knob", 6), none = made("input", undefined, { id: "none-" + index, type: "checkbox" });
      const label = made("label", "no oscillation anywhere", { for: "none-" + index }), should = data.causes[0].sizes[0].onset[index];
      one.dataset.name = "o " + name; none.dataset.name = "n " + name;
      one.value = kept.get(one.dataset.name) || ""; none.checked = kept.get(none.dataset.name) || false;
      none.addEventListener("change", tell);
      return row([made("th", name, { scope: "row" }), should === null ? "none" : percent(should, 1), cellOf(one, " % "), cellOf(none, " ", label)]);
    }));
    el("bench-form").hidden = false;
    tell();
  };
  el("heard").addEventListener("change", () => tell());
  el("reading-error").addEventListener("input", soon);
  el("readings").addEventListener("submit", (event) => event.preventDefault());
  el("clear-readings").addEventListener("click", () => {
    for (const one of document.querySelectorAll("#readings input")) { if (one.type === "checkbox") one.checked = false; else if (one.id !== "reading-error") one.value = ""; }
    el("heard").value = "";
    tell();
  });
  window.bench = { load, tell };
  const start = el("bench-data");
  if (start) load(JSON.parse(start.textContent));
})();
