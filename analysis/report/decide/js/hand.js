// The hand on a setting: where it may go from where it is, and why not further.

/** The row that is wanted of a setting: so many marks on, at a value, at a mark, at a level. */
function wantedRow(data, row, base, j, wanted) {
  if (wanted.level !== undefined) return atLevel(data, row, j, wanted.level) ?? row;
  if (wanted.by !== undefined) {
    let moved = row;
    for (let i = 0; i < Math.abs(wanted.by); i += 1) {
      const next = stepped(data, base, j, Math.sign(wanted.by), moved[j]);
      if (next === base || next[j] === moved[j]) break;
      moved = next;
    }
    return moved;
  }
  const to = wanted.mark === undefined ? wanted.to : marksOf(data, row, j)[wanted.mark];
  if (to === undefined || Number.isNaN(to)) return row;
  return nearestTo(data, base, j, to);
}

/** Say why a setting did not go where it was wanted; empty where it did. */
function stopWords(data, row, moved, j, wanted) {
  const axis = data.axes[j];
  const at = withUnit(settingText(data, moved, j), axis.unit);
  if (wanted.level !== undefined) {
    return moved[j] === wanted.level
      ? ""
      : `${axis.name} stays at ${at}: the brief forbids it here.`;
  }
  if (wanted.by !== undefined) {
    if (moved !== row) return "";
    const reach = reachAlong(data, row, j);
    const why = reach ? (wanted.by < 0 ? reach.lowWords : reach.highWords) : "the end of its range";
    return `${axis.name} stays at ${at}: ${why}.`;
  }
  const to = wanted.mark === undefined ? wanted.to : marksOf(data, row, j)[wanted.mark];
  if (to === undefined || Number.isNaN(to))
    return `${axis.name} stays at ${at}: that is no number.`;
  if (Math.abs(moved[j] - to) <= 1e-9 * Math.max(1, Math.abs(to))) return "";
  const asked =
    axis.kind === "share" ? sharedOut(data, row, j, to) : row.map((x, i) => (i === j ? to : x));
  const why = whyForbidden(data, asked);
  if (why) return `${axis.name} goes to ${at}: ${why}.`;
  return axis.step ? `${axis.name} goes to ${at}: the bench sets steps of ${axis.step}.` : "";
}
