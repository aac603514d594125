// The region: which settings the brief allows, and how far one may go along a line through it.

// Slack as a part of each range: shares are sums of rounded numbers.
const TOUCH = 1e-9;

function isNoise(data, j) {
  return data.production.columns.includes(j);
}

/** Columns of the shares. */
function shareColumns(data) {
  return data.axes.flatMap((axis, j) => (axis.kind === "share" ? [j] : []));
}

/** Put noise factors where a piece may hold them: nobody sets them. */
function heldFor(data, piece, row) {
  if (!data.production.columns.length) return row;
  const held = row.slice();
  const fixed = new Map(piece.fixed);
  for (const j of data.production.columns) {
    if (fixed.has(j)) held[j] = fixed.get(j);
    else if (!Number.isNaN(row[j])) {
      held[j] = Math.min(Math.max(row[j], piece.low[j]), piece.high[j]);
    }
  }
  return held;
}

const bounds = new WeakMap();

/** Make the bounds of a piece ready: only the settings that each ties, and its slack. */
function boundsOf(data, piece) {
  const known = bounds.get(piece);
  if (known) return known;
  const { spans } = data.region;
  const fixed = new Set(piece.fixed.map(([j]) => j));
  const made = piece.A.map((a, i) => {
    const columns = a.flatMap((x, j) => (x !== 0 && !fixed.has(j) ? [j] : []));
    const size = columns.reduce((sum, j) => sum + Math.abs(a[j]) * spans[j], 0);
    return { columns, a: columns.map((j) => a[j]), most: piece.b[i] + TOUCH * size };
  });
  const ready = { made, shares: piece.total ? shareColumns(data) : [] };
  bounds.set(piece, ready);
  return ready;
}

/** What keeps a row out of one piece, in words; null where the piece holds it. */
function outsideOf(data, piece, given) {
  const { spans } = data.region;
  const row = heldFor(data, piece, given);
  for (const [j, value] of piece.fixed) {
    const off = Number.isNaN(value)
      ? !Number.isNaN(row[j])
      : !(Math.abs(row[j] - value) <= TOUCH * spans[j]);
    if (off) return { words: "", away: 1 };
  }
  const { made, shares } = boundsOf(data, piece);
  for (let i = 0; i < made.length; i += 1) {
    const { columns, a, most } = made[i];
    let sum = 0;
    for (let c = 0; c < columns.length; c += 1) sum += a[c] * row[columns[c]];
    if (!(sum <= most)) return { words: piece.words[i], away: 0 };
  }
  let total = piece.total ? 0 : 1;
  for (const j of shares) total += row[j];
  return Math.abs(total - 1) <= TOUCH ? null : { words: "the shares add to 1", away: 0 };
}

/** Tell whether the brief allows a row. */
function isAllowed(data, row) {
  return data.region.pieces.some((piece) => outsideOf(data, piece, row) === null);
}

/** Say what stands against a row; empty where nothing does. */
function whyForbidden(data, row) {
  if (isAllowed(data, row)) return "";
  const reasons = data.region.pieces.map((piece) => outsideOf(data, piece, row));
  const near = reasons.find((one) => one.away === 0 && one.words);
  return near ? near.words : "the brief leaves nothing at these levels";
}

/** How all settings move when one moves by 1 (Cox 1971): shares give way in their ratios. */
function directionOf(data, row, j) {
  const direction = row.map(() => 0);
  direction[j] = 1;
  if (data.axes[j].kind !== "share") return direction;
  const others = shareColumns(data).filter((i) => i !== j);
  const rest = others.reduce((sum, i) => sum + row[i], 0);
  for (const i of others) direction[i] = rest > TOUCH ? -row[i] / rest : -1 / others.length;
  return direction;
}

/** Put one setting to a value along its direction. */
function movedAlong(row, direction, j, to) {
  const moved = row.map((x, i) => x + (to - row[j]) * direction[i]);
  moved[j] = to;
  return moved;
}

const orZero = (x) => (Number.isNaN(x) ? 0 : x);

/** Cut the line by the bounds of one convex piece; null where nothing is left. */
function stretchIn(data, piece, row, direction, j) {
  const clear = row.map(orZero);
  const width = piece.low.map((low, i) => orZero(Math.max(piece.high[i] - low, 0)));
  let low = -Infinity;
  let high = Infinity;
  let [lowWords, highWords] = ["the end of its range", "the end of its range"];
  for (let i = 0; i < piece.A.length; i += 1) {
    const a = piece.A[i];
    const rate = dot(a, direction);
    const slack = piece.b[i] - dot(a, clear);
    const size = a.reduce((sum, x, c) => sum + Math.abs(x) * width[c], 0);
    if (Math.abs(rate) <= TOUCH * Math.max(size, TOUCH)) {
      if (slack < -TOUCH * Math.max(size, 1)) return null;
    } else if (rate > 0 && slack / rate < high) {
      [high, highWords] = [slack / rate, piece.words[i]];
    } else if (rate < 0 && slack / rate > low) {
      [low, lowWords] = [slack / rate, piece.words[i]];
    }
  }
  if (low > high + TOUCH) return null;
  return { low: row[j] + low, high: row[j] + high, lowWords, highWords };
}

function agreesWith(data, piece, row, j) {
  return piece.fixed.every(([i, value]) => {
    if (i === j) return false;
    if (isNoise(data, i)) return true;
    if (Number.isNaN(value)) return Number.isNaN(row[i]);
    return Math.abs(row[i] - value) <= TOUCH * Math.max(1, Math.abs(value));
  });
}

/** How far a setting may move from a row before it leaves the region, over pieces that join. */
function reachAlong(data, row, j) {
  const direction = directionOf(data, row, j);
  const touch = TOUCH * data.region.spans[j];
  const found = data.region.pieces
    .filter((piece) => agreesWith(data, piece, row, j))
    .map((piece) => stretchIn(data, piece, row, direction, j))
    .filter((one) => one !== null);
  let here = found.find((one) => one.low - touch <= row[j] && row[j] <= one.high + touch);
  if (!here) return null;
  for (let growing = true; growing;) {
    growing = false;
    for (const other of found) {
      if (other.low > here.high + touch || here.low > other.high + touch) continue;
      const below = here.low <= other.low ? here : other;
      const above = here.high >= other.high ? here : other;
      if (below.low === here.low && above.high === here.high) continue;
      here = {
        low: below.low,
        high: above.high,
        lowWords: below.lowWords,
        highWords: above.highWords,
      };
      growing = true;
    }
  }
  return here;
}
