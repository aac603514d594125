// The compromise for given importances: the greatest overall desirability on the bench's steps
// (Derringer and Suich 1980), found by climbing from many places.

// Desirabilities that differ by less are equal.
const EQUAL = 1e-9;
// Below this height the logarithm goes on as its tangent, which points the way out of zero.
const TANGENT = 0.02;
// Steps that a climb tries, longest first; and places that are climbed from.
const STRIDES = [8, 4, 2, 1];
const CLIMBS = 14;
// Where a setting has no step, strides are halved down to this part of the stride of its buttons.
const FINEST = 1 / 256;

/** How far up its ramp a value is: 0 at worst, 1 at best, cut at neither end. */
function heightOf(aim, value) {
  let lowest = Infinity;
  for (const [a, c] of aim.ramps) lowest = Math.min(lowest, a + c * value);
  return Number.isNaN(lowest) || Number.isNaN(value) ? -Infinity : lowest;
}

/** Desirability of one value, 0 to 1. */
function desirabilityOf(aim, value) {
  return Math.min(1, Math.max(0, heightOf(aim, value))) ** aim.shape;
}

/** What counts: responses with an aim and an importance above zero, and the limits that bind. */
function questionOf(data, importances, withinLimits) {
  const aimed = data.responses.filter((one) => one.aim && importances[one.name] > 0);
  const limited = withinLimits ? data.responses.filter((one) => one.limits.length) : [];
  const total = aimed.reduce((sum, one) => sum + importances[one.name], 0);
  return {
    aimed,
    weights: aimed.map((one) => importances[one.name] / total),
    limited,
    asked: [...new Set([...aimed, ...limited])],
    scales: new Map(limited.map((one) => [one, scaleOfLimits(data, one)])),
  };
}

/** The length of the ramp of a response, or else the span that it predicts over the region. */
function scaleOfLimits(data, response) {
  if (response.aim) return 1 / Math.max(...response.aim.ramps.map(([, c]) => Math.abs(c)));
  const values = data.scattered.slice(0, 100).map((row) => valueAt(data, response, row));
  return Math.max(...values) - Math.min(...values) || 1;
}

/** The overall desirability of a row: importance-weighted geometric mean, 0 as soon as one is. */
function overallAt(data, question, row) {
  const logs = question.aimed.map(
    (one, i) => question.weights[i] * Math.log(desirabilityOf(one.aim, valueAt(data, one, row))),
  );
  return question.aimed.length ? Math.exp(logs.reduce((a, b) => a + b, 0)) : 0;
}

/** Judge a row: desirability; what is left beyond best where all are at best; a way out of zero. */
function judged(data, question, row) {
  const values = new Map(question.asked.map((one) => [one, valueAt(data, one, row)]));
  let [log, merit, worst, spare] = [0, 0, 0, 1];
  question.aimed.forEach((one, i) => {
    const height = heightOf(one.aim, values.get(one));
    const cut = Math.min(1, Math.max(-1e6, height));
    const power = question.weights[i] * one.aim.shape;
    log += power * Math.log(Math.max(cut, 0));
    merit += power * (cut > TANGENT ? Math.log(cut) : Math.log(TANGENT) + cut / TANGENT - 1);
    worst = Math.min(worst, height);
    if (one.aim.ramps.length === 1) spare = Math.min(spare, height - 1);
  });
  let slack = 0;
  for (const one of question.limited) {
    for (const limit of one.limits) {
      slack = Math.min(slack, marginOf(limit, values.get(one)) / question.scales.get(one));
    }
  }
  if (Number.isNaN(slack)) slack = -Infinity;
  const overall = Math.exp(log);
  let score = overall > 0 ? overall : worst / (1 - worst);
  if (slack < -EQUAL) score = -2 + Math.max(slack, -1e9) / (1 - Math.max(slack, -1e9));
  return {
    row,
    score: Number.isNaN(score) ? -1 : score,
    merit: merit + (slack < -EQUAL ? Math.max(slack / TANGENT, -1e6) : 0),
    spare: score >= 1 - EQUAL ? spare : 0,
  };
}

/** Half ranges from the middle of the ranges, squared: of equal recipes the central one. */
function awayFromMiddle(data, row) {
  return row.reduce((sum, x, j) => {
    const ends = data.axes[j].kind === "number" ? endsOf(data, row, j) : null;
    if (ends === null || Number.isNaN(x)) return sum;
    return sum + (coded(data.axes[j], x, row) || 0) ** 2;
  }, 0);
}

/** Tell whether one judged row is better than another. */
function isBetter(data, one, other) {
  if (Math.abs(one.score - other.score) > EQUAL) return one.score > other.score;
  if (one.score <= 0 && Math.abs(one.merit - other.merit) > EQUAL) return one.merit > other.merit;
  if (Math.abs(one.spare - other.spare) > EQUAL) return one.spare > other.spare;
  return awayFromMiddle(data, one.row) < awayFromMiddle(data, other.row) - EQUAL;
}

/** What one move of a climb may change: a setting by its step, or one share for another. */
function movesOf(data) {
  const moves = [];
  const shares = shareColumns(data);
  data.axes.forEach((axis, j) => {
    if (axis.kind === "share" || isNoise(data, j)) return;
    moves.push(axis.kind === "choice" ? { kind: "level", j } : { kind: "number", j });
  });
  for (const j of shares) for (const i of shares) if (i < j) moves.push({ kind: "swap", j, i });
  return moves;
}

/** The length of a stride of one setting. */
function strideOf(data, row, j) {
  const axis = data.axes[j];
  if (axis.step) return axis.step;
  const ends = endsOf(data, row, j);
  return ends === null ? 0 : (ends[1] - ends[0]) / PART_OF_RANGE;
}

/** The least difference that both of two shares can make; a hundredth without steps. */
function sharedStep(one, other) {
  if (!one || !other) return one || other || 0.01;
  const [fine, coarse] = [Math.min(one, other), Math.max(one, other)];
  const fits = (n) => Math.abs((n * coarse) / fine - Math.round((n * coarse) / fine)) < 1e-6;
  for (let n = 1; n < 50; n += 1) if (fits(n)) return n * coarse;
  return coarse;
}

/** Carry out a move by a number of strides; null where it leads nowhere. */
function carriedOut(data, row, move, times) {
  const next = row.slice();
  if (move.kind === "swap") {
    const step = sharedStep(data.axes[move.j].step, data.axes[move.i].step);
    next[move.j] = cleaned(row[move.j] + times * step);
    next[move.i] = cleaned(row[move.i] - times * step);
    return isAllowed(data, next) ? next : null;
  }
  if (Number.isNaN(row[move.j])) return null;
  const axis = data.axes[move.j];
  if (axis.marks.length) {
    const at = axis.marks.indexOf(row[move.j]) + Math.sign(times) * Math.ceil(Math.abs(times));
    if (at < 0 || at >= axis.marks.length) return null;
    next[move.j] = axis.marks[at];
  } else {
    const [low, high] = endsOf(data, row, move.j);
    const step = strideOf(data, row, move.j);
    // Marks count from the low end; the high end can be set although the steps may miss it.
    const from =
      axis.step === null ? (row[move.j] - low) / step : Math.round((row[move.j] - low) / step);
    next[move.j] = Math.min(high, Math.max(low, cleaned(low + (from + times) * step)));
    if (next[move.j] === row[move.j]) return null;
  }
  return isAllowed(data, next) ? next : null;
}

/** The rows round one: every move and every two moves together, by some strides. */
function* around(data, row, moves, times) {
  const singles = moves.filter((move) => move.kind !== "level");
  for (let a = 0; a < singles.length; a += 1) {
    for (const sign of [-1, 1]) {
      const once = carriedOut(data, row, singles[a], sign * times);
      if (once) yield once;
      for (let b = 0; b < a; b += 1) {
        for (const other of [-1, 1]) {
          const base = once ?? carriedOut(data, row, singles[b], other * times);
          if (!base) continue;
          const twice = once
            ? carriedOut(data, once, singles[b], other * times)
            : carriedOut(data, base, singles[a], sign * times);
          if (twice) yield twice;
        }
      }
    }
  }
  for (const move of moves.filter((one) => one.kind === "level")) {
    for (let level = 0; level < data.axes[move.j].levels.length; level += 1) {
      const there = level === row[move.j] ? null : atLevel(data, row, move.j, level);
      if (there) yield there;
    }
  }
}

/** Climb from one row until no move gains; yields between neighbourhoods, so that it can wait. */
function* climbed(data, question, start) {
  const moves = movesOf(data);
  const loose = moves.some(({ kind, j }) => kind !== "level" && data.axes[j].step === null);
  const strides = STRIDES.slice();
  if (loose) for (let s = 0.5; s >= FINEST; s /= 2) strides.push(s);
  let here = judged(data, question, start);
  for (let level = 0; level < strides.length;) {
    let best = here;
    for (const row of around(data, here.row, whole(data, moves, strides[level]), strides[level])) {
      const one = judged(data, question, row);
      if (isBetter(data, one, best)) best = one;
    }
    yield here;
    if (best === here) level += 1;
    here = best;
  }
  return here;
}

/** Below one stride only settings without steps move. */
function whole(data, moves, stride) {
  if (stride >= 1) return moves;
  const isLoose = (j) => data.axes[j].step === null && !data.axes[j].marks?.length;
  return moves.filter((one) =>
    one.kind === "swap"
      ? isLoose(one.j) && isLoose(one.i)
      : one.kind === "number" && isLoose(one.j),
  );
}

const placesKnown = new WeakMap();

/** The recommended recipe with its rivals, and recipes all over the region, on the bench's steps. */
function placesOf(data) {
  if (!placesKnown.has(data)) {
    const known = data.compromise.map((row) => broughtIn(data, row) ?? row);
    const brought = data.scattered.map((row) => broughtIn(data, row));
    placesKnown.set(data, { known, scattered: brought.filter((row) => row !== null) });
  }
  return placesKnown.get(data);
}

/** Search the region; yields the best so far again and again, and returns the best of all. */
function* searched(data, question) {
  const { known, scattered } = placesOf(data);
  const places = [];
  let first = null;
  for (const row of [...known, ...scattered]) {
    const one = judged(data, question, row);
    places.push(one);
    if (first === null || isBetter(data, one, first)) first = one;
    if (places.length % 20 === 0) yield first;
  }
  const order = places.slice(known.length).sort((a, b) => b.score - a.score || b.merit - a.merit);
  const starts = [...places.slice(0, known.length), ...apart(data, order, CLIMBS)];
  let best = starts[0] ?? null;
  for (const start of starts) {
    const climb = climbed(data, question, start.row);
    for (;;) {
      const { value, done } = climb.next();
      if (isBetter(data, value, best)) best = value;
      yield best;
      if (done) break;
    }
  }
  return best;
}

/** Pick good places that lie apart from one another. */
function apart(data, order, n) {
  const picked = [];
  const far = (a, b) =>
    a.row.reduce((most, x, j) => {
      const span =
        data.axes[j].kind === "share"
          ? data.axes[j].high - data.axes[j].low || 1
          : data.region.spans[j];
      return Math.max(most, orZero(Math.abs(x - b.row[j])) / span);
    }, 0);
  for (let least = 0.5; picked.length < n && least > 0.05; least /= 2) {
    for (const one of order) {
      if (picked.length >= n) break;
      if (picked.every((other) => far(one, other) >= least)) picked.push(one);
    }
  }
  return picked;
}

/** Search to the end at once. */
function compromiseFor(data, question) {
  let last;
  const search = searched(data, question);
  for (;;) {
    const { value, done } = search.next();
    last = value ?? last;
    if (done) return last;
  }
}
