// Room: how far each setting may move alone before a limit that is met now is broken.

// Places looked at on the way to the end of the region.
const TRACE = 201;

/** The limits that are met at a row, each with its response. */
function limitsMetAt(data, row) {
  return data.responses.flatMap((response) =>
    response.limits.length
      ? metLimits(response, valueAt(data, response, row)).map((limit) => ({ response, limit }))
      : [],
  );
}

function metLimits(response, value) {
  return response.limits.filter((limit) => isMet(limit, value));
}

/** Follow a setting down (−1) or up (+1) to the first limit, or to the end of the region. */
function followed(data, row, j, sign, watched) {
  const reach = reachAlong(data, row, j);
  if (reach === null) return { at: row[j], words: "the recipe lies outside the region" };
  const end = sign < 0 ? reach.low : reach.high;
  let first = { at: end, words: sign < 0 ? reach.lowWords : reach.highWords };
  const direction = directionOf(data, row, j);
  const responses = [...new Set(watched.map((one) => one.response))];
  const line = (x) => movedAlong(row, direction, j, x);
  const traces = new Map(responses.map((response) => [response, []]));
  for (let i = 0; i < TRACE; i += 1) {
    const at = line(row[j] + ((end - row[j]) * i) / (TRACE - 1));
    for (const response of responses) traces.get(response).push(valueAt(data, response, at));
  }
  for (const { response, limit } of watched) {
    const values = traces.get(response);
    const broken = values.findIndex((value, i) => i > 0 && !(marginOf(limit, value) >= 0));
    if (broken < 0) continue;
    const place = (i) => row[j] + ((end - row[j]) * i) / (TRACE - 1);
    const margin = (x) => marginOf(limit, valueAt(data, response, line(x)));
    const at = rootBetween(margin, place(broken - 1), place(broken));
    if (Math.abs(at - row[j]) < Math.abs(first.at - row[j])) first = { at, words: limit.rests };
  }
  return first;
}

/** Where a margin reaches 0 between a place where it is kept and one where it is broken. */
function rootBetween(margin, kept, broken) {
  if (margin(kept) <= 0 || Number.isNaN(margin(broken))) return kept;
  let [a, b] = [kept, broken];
  for (let i = 0; i < 60 && a !== b; i += 1) {
    const middle = (a + b) / 2;
    if (margin(middle) >= 0) a = middle;
    else b = middle;
  }
  return a;
}

/** Step over numeric levels until one breaks a limit. */
function overLevels(data, row, j, sign, watched) {
  let last = { at: row[j], words: "the end of its range" };
  const ahead = data.axes[j].marks.filter((mark) => (mark - row[j]) * sign > 0);
  if (sign < 0) ahead.reverse();
  for (const mark of ahead) {
    const moved = row.slice();
    moved[j] = mark;
    if (!isAllowed(data, moved)) return { at: last.at, words: "the region does not hold it" };
    const broken = watched.find(
      ({ response, limit }) => !isMet(limit, valueAt(data, response, moved)),
    );
    if (broken) return { at: last.at, words: broken.limit.rests };
    last = { at: mark, words: "the end of its range" };
  }
  return last;
}

/** Tell how far one setting may move alone; null for a choice and for what cannot move. */
function roomOf(data, row, j, watched = limitsMetAt(data, row)) {
  const axis = data.axes[j];
  const stuck = axis.kind === "share" && axis.low >= axis.high;
  if (axis.kind === "choice" || Number.isNaN(row[j]) || isNoise(data, j) || stuck) return null;
  const way = axis.kind === "number" && axis.marks.length ? overLevels : followed;
  return { low: way(data, row, j, -1, watched), high: way(data, row, j, 1, watched) };
}
