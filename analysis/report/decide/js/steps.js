// Moves: from one allowed recipe to another on the bench's steps; shares keep their sum.

// A setting without steps is moved by this part of its range by the buttons.
const PART_OF_RANGE = 100;
// Marks are written to this many decimals, which clears rounding noise.
const DECIMALS = 12;

function cleaned(x) {
  const power = 10 ** DECIMALS;
  return Math.abs(x) < 1000 ? Math.round(x * power) / power : Number(x.toPrecision(15));
}

/** Lowest and highest of a setting at the levels of a row; null for what the level lacks. */
function endsOf(data, row, j) {
  const axis = data.axes[j];
  return axis.kind === "share" ? [axis.low, axis.high] : rangeOf(axis, row);
}

/** The marks of one setting at a row, ascending: bench steps, levels, or parts of its range. */
function marksOf(data, row, j) {
  const axis = data.axes[j];
  if (axis.kind === "choice") return axis.levels.map((_, i) => i);
  if (axis.marks?.length) return axis.marks;
  const ends = endsOf(data, row, j);
  if (ends === null) return [];
  const [low, high] = ends;
  if (axis.kind === "share" && axis.step !== null) {
    const first = Math.ceil(low / axis.step - 1e-9);
    const last = Math.floor(high / axis.step + 1e-9);
    return Array.from({ length: last - first + 1 }, (_, i) => cleaned((first + i) * axis.step));
  }
  const step = axis.step ?? (high - low) / PART_OF_RANGE;
  const n = step > 0 ? Math.floor((high - low) / step + 1e-9) : 0;
  const marks = Array.from({ length: n + 1 }, (_, i) => cleaned(low + i * step));
  // The high end can be set although the steps may miss it.
  if (high - marks[n] > 1e-9 * (high - low || 1)) marks.push(high);
  return marks;
}

/** Share out what the other shares give or take: in their ratios, each within its own range. */
function sharedOut(data, row, j, to) {
  const blend = row.slice();
  blend[j] = to;
  let open = shareColumns(data).filter((i) => i !== j);
  let left = 1 - to;
  while (open.length) {
    const sum = open.reduce((so, i) => so + row[i], 0);
    const wish = (i) => (sum > TOUCH ? (row[i] / sum) * left : left / open.length);
    const over = open.filter((i) => wish(i) > data.axes[i].high + TOUCH);
    const under = open.filter((i) => wish(i) < data.axes[i].low - TOUCH);
    // What one end holds back, the others must carry: the larger breach is settled first.
    const breach = (i) =>
      Math.abs(wish(i) - Math.min(Math.max(wish(i), data.axes[i].low), data.axes[i].high));
    const sumOf = (ones) => ones.reduce((so, i) => so + breach(i), 0);
    const stopped = sumOf(over) >= sumOf(under) ? over : under;
    if (!stopped.length) {
      for (const i of open) blend[i] = wish(i);
      return blend;
    }
    for (const i of stopped) {
      blend[i] = stopped === over ? data.axes[i].high : data.axes[i].low;
      left -= blend[i];
    }
    open = open.filter((i) => !stopped.includes(i));
  }
  return blend;
}

/** Bring the other shares to their steps so that all add to 1; nearest first, allowed ones only. */
function blendsOnSteps(data, row, j, to) {
  const wished = sharedOut(data, row, j, to);
  const others = shareColumns(data).filter((i) => i !== j);
  if (!others.length) return isAllowed(data, wished) ? [wished] : [];
  const loose = others.filter((i) => data.axes[i].step === null);
  const stepped = others.filter((i) => data.axes[i].step !== null);
  const finest = stepped.slice().sort((a, b) => data.axes[a].step - data.axes[b].step)[0];
  const takes = loose.length ? loose : [finest];
  const chosen = stepped.filter((i) => !takes.includes(i));
  let rows = [wished];
  for (const i of chosen) {
    const at = Math.floor(wished[i] / data.axes[i].step + 1e-9);
    const reach = chosen.length > 4 ? [0, 1] : [-1, 0, 1, 2];
    rows = rows.flatMap((one) =>
      reach.map((d) => one.map((x, c) => (c === i ? cleaned((at + d) * data.axes[i].step) : x))),
    );
  }
  const spare = takes.reduce((sum, i) => sum + wished[i], 0);
  for (const one of rows) {
    const rest = 1 - to - chosen.reduce((sum, i) => sum + one[i], 0);
    for (const i of takes)
      one[i] = cleaned(spare > TOUCH ? (rest * wished[i]) / spare : rest / takes.length);
  }
  const offMark = (one) => {
    const at = loose.length ? 0 : one[finest] / data.axes[finest].step;
    return Math.abs(at - Math.round(at)) > 1e-6 ? 1 : 0;
  };
  // Off its mark only where steps of unlike size can never add to 1.
  const far = (one) => others.reduce((sum, i) => sum + (one[i] - wished[i]) ** 2, offMark(one));
  return rows.filter((one) => isAllowed(data, one)).sort((a, b) => far(a) - far(b));
}

/** Put one setting to a value, the shares giving way; null where the brief forbids it. */
function placed(data, row, j, to) {
  if (data.axes[j].kind === "share") return blendsOnSteps(data, row, j, to)[0] ?? null;
  const moved = row.slice();
  moved[j] = to;
  return isAllowed(data, moved) ? moved : null;
}

/** Put one setting as near to a value as the brief and the bench allow. */
function nearestTo(data, row, j, wanted) {
  const axis = data.axes[j];
  const isLoose = axis.step === null && !axis.marks?.length;
  if (isLoose && axis.kind !== "choice") {
    const exact = placed(data, row, j, wanted);
    if (exact) return exact;
    const reach = reachAlong(data, row, j);
    const end = reach && Math.min(Math.max(wanted, reach.low), reach.high);
    const there = reach && placed(data, row, j, end);
    if (there) return there;
  }
  const marks = marksOf(data, row, j).slice();
  marks.sort((a, b) => Math.abs(a - wanted) - Math.abs(b - wanted));
  for (const mark of marks) {
    const moved = placed(data, row, j, mark);
    if (moved) return moved;
  }
  return row;
}

/** Go to the next allowed mark up (+1) or down (−1), or several; the row itself where none is. */
function stepped(data, row, j, sign, from = row[j]) {
  const here = 1e-9 * Math.max(1, Math.abs(from));
  const ahead = marksOf(data, row, j).filter((mark) => (mark - from) * sign > here);
  if (sign < 0) ahead.reverse();
  for (const mark of ahead) {
    const moved = placed(data, row, j, mark);
    if (moved) return moved;
  }
  return row;
}

/** Put a choice to another level: ranged factors come along, or are left out there; null if not. */
function atLevel(data, row, j, level) {
  let moved = row.slice();
  moved[j] = level;
  data.axes.forEach((axis, i) => {
    if (axis.kind !== "number" || axis.rangedBy !== j) return;
    const ends = rangeOf(axis, moved);
    if (ends === null) moved[i] = NaN;
    else {
      const at = Number.isNaN(row[i]) ? (ends[0] + ends[1]) / 2 : row[i];
      const marks = marksOf(data, moved, i);
      const inside = Math.min(Math.max(at, ends[0]), ends[1]);
      const near = (a, b) => (Math.abs(a - inside) <= Math.abs(b - inside) ? a : b);
      moved[i] = axis.step === null ? inside : marks.reduce(near);
    }
  });
  if (isAllowed(data, moved)) return moved;
  // A bound that names the level may only ask for a little less of something.
  for (let i = 0; i < data.axes.length; i += 1) {
    if (i === j || data.axes[i].kind === "choice" || Number.isNaN(moved[i])) continue;
    const near = nearestTo(data, moved, i, moved[i]);
    if (isAllowed(data, near)) return near;
  }
  return null;
}

/** Bring any row to one that the brief allows, on the bench's steps; null where none is near. */
function broughtIn(data, row) {
  let moved = row.slice();
  for (const j of data.production.columns) moved[j] = productionAt(data, j, moved);
  for (let j = 0; j < data.axes.length; j += 1) {
    if (data.axes[j].kind !== "number" || isNoise(data, j)) continue;
    const marks = marksOf(data, moved, j);
    if (!marks.length) moved[j] = NaN;
    else if (data.axes[j].step !== null || data.axes[j].marks.length) {
      const at = Number.isNaN(moved[j]) ? marks[marks.length >> 1] : moved[j];
      moved[j] = marks.reduce((a, b) => (Math.abs(a - at) <= Math.abs(b - at) ? a : b));
    }
  }
  const shares = shareColumns(data);
  if (shares.length > 1) {
    const first = shares.find((j) => data.axes[j].step !== null) ?? shares[0];
    return stepsNear(data, moved, first);
  }
  return isAllowed(data, moved) ? moved : null;
}

function productionAt(data, j, row) {
  const place = data.production.columns.indexOf(j);
  const mean = data.production.means[place];
  if (data.axes[j].kind === "choice") return Number.isNaN(row[j]) ? 0 : row[j];
  return mean;
}

function stepsNear(data, row, j) {
  const marks = marksOf(data, row, j).slice();
  if (data.axes[j].step === null) return isAllowed(data, row) ? row : null;
  marks.sort((a, b) => Math.abs(a - row[j]) - Math.abs(b - row[j]));
  for (const mark of marks.slice(0, 6)) {
    const moved = placed(data, row, j, mark);
    if (moved) return moved;
  }
  return null;
}
