// The page: one state, drawn anew after each change, kept in the address.

// The search for the compromise works in slices of so many milliseconds, so that the page answers.
const SLICE_MS = 20;
// A sentence for the ear waits until the hand rests.
const REST_MS = 400;
// So long after the last change the address follows.
const ADDRESS_MS = 150;

// More responses than this are many on one sheet of paper.
const MANY_RESPONSES = 5;

/** Begin the page with its data. */
function beginPage(data, root) {
  const start = data.compromise[0] ?? placesOf(data).scattered[0] ?? data.scattered[0];
  const fresh = {
    A: broughtIn(data, start) ?? start,
    B: null,
    role: null,
    importances: importancesOf(data, null),
    within: false,
  };
  const live = document.getElementById("live");
  const { state: first, said } = readState(data, location.hash, fresh);
  let state = first;
  let anchor = null;
  let speaking = 0;
  let keeping = 0;
  let searching = 0;
  let found = null;
  const cards = { A: makeCard(data, "A", edit), B: makeCard(data, "B", edit) };
  const beside = makeBeside(data);
  const weights = aimedOf(data).length ? makeWeights(data, changeWeights, placeFound) : null;
  for (const letter of ["A", "B"]) cards[letter].buttons.append(...cardButtons(letter));
  // Many responses are printed closer together, so that the sheet stays one.
  document.documentElement.classList.toggle("dense", data.responses.length > MANY_RESPONSES);
  const tray = make("div", { id: "tray" }, cards.A.element, cards.B.element);
  root.replaceChildren(tray, beside.element, ...(weights ? [weights.element] : []));
  addEventListener("hashchange", () => {
    if (location.hash.slice(1) !== writeState(data, state)) restore();
  });

  function restore() {
    const read = readState(data, location.hash, fresh);
    state = read.state;
    anchor = null;
    showAll(read.said.join(". "));
    search();
  }

  function cardButtons(letter) {
    const other = letter === "A" ? "B" : "A";
    const word = (text, act) => {
      const button = make("button", { type: "button", class: "word" }, text);
      button.addEventListener("click", act);
      return button;
    };
    const first = data.compromise.length ? "the report's compromise" : "the first recipe";
    const back = word(`Back to ${first}`, () => put(letter, fresh.A));
    if (letter === "B") return [back, word("Take B away", () => put("B", null))];
    return [back, word("Put a second recipe beside it", () => put(other, state.A.slice()))];
  }

  function put(letter, row) {
    state = { ...state, [letter]: row };
    anchor = null;
    showAll("");
    if (letter === "B" && row)
      cards.B.element.querySelector("h2").scrollIntoView({ block: "nearest" });
  }

  /** Change one setting as far as the brief and the bench allow; shares give way from where the
      hand began, so that there and back is no change. */
  function edit(letter, j, wanted) {
    const row = state[letter];
    if (anchor?.letter !== letter || anchor.j !== j) anchor = { letter, j, row };
    const base = data.axes[j].kind === "share" ? anchor.row : row;
    const moved = wantedRow(data, row, base, j, wanted);
    const words = stopWords(data, row, moved, j, wanted);
    state = { ...state, [letter]: moved };
    showAll("");
    say(cards[letter].said, words);
    speak(letter, words, j);
  }

  function changeWeights(change) {
    const role = change.role === undefined ? state.role : change.role;
    const own = change.weight
      ? { ...state.importances, [change.weight[0]]: change.weight[1] }
      : state.importances;
    const importances = role === OWN ? own : importancesOf(data, role);
    state = { ...state, role, importances, within: change.within ?? state.within };
    showAll("");
    search();
  }

  function placeFound(letter) {
    if (found) put(letter, found.row);
  }

  function showAll(words) {
    for (const letter of ["A", "B"]) {
      cards[letter].element.hidden = !state[letter];
      if (!state[letter]) continue;
      cards[letter].show(state[letter]);
      say(cards[letter].said, "");
      say(cards[letter].worth, worthWords(state[letter]));
    }
    cards.A.buttons.lastChild.hidden = Boolean(state.B);
    tray.classList.toggle("two", Boolean(state.B));
    weights?.show(state);
    beside.show(state);
    if (words) {
      say(cards.A.said, words);
      say(live, words);
    }
    keepAddress();
    setTimeout(showRooms, 0, state);
  }

  function showRooms(of) {
    if (of !== state) return;
    for (const letter of ["A", "B"]) if (state[letter]) cards[letter].showRoom(state[letter]);
    root.dataset.settled = String(Number(root.dataset.settled ?? 0) + 1);
  }

  function worthWords(row) {
    if (!weights) return "";
    const question = questionOf(data, state.importances, false);
    if (!question.aimed.length) return "";
    const view =
      state.role === null
        ? ""
        : state.role === OWN
          ? ", by own importances"
          : `, in the view of the ${state.role}`;
    return `Overall desirability ${overallAt(data, question, row).toFixed(3)}${view}; 1 is best.`;
  }

  function speak(letter, words, j) {
    clearTimeout(speaking);
    speaking = setTimeout(() => {
      const row = state[letter];
      const told = data.responses.map((one) => spokenResponse(one, predictAt(data, one, row)));
      const set = withUnit(settingText(data, row, j), data.axes[j].unit);
      say(live, `${words ? `${words} ` : ""}${data.axes[j].name} ${set}. ${told.join(". ")}.`);
    }, REST_MS);
  }

  function keepAddress() {
    const address = `#${writeState(data, state)}`;
    document.getElementById("state")?.setAttribute("href", address);
    clearTimeout(keeping);
    // A slide sends many changes a second; browsers refuse so many addresses.
    keeping = setTimeout(() => {
      try {
        history.replaceState(null, "", address);
      } catch {
        // Some browsers refuse it for files; a new address does as well, with a step back more.
        location.replace(address);
      }
    }, ADDRESS_MS);
  }

  function search() {
    if (!weights) return;
    clearTimeout(searching);
    root.dataset.searching = "yes";
    const question = questionOf(data, state.importances, state.within);
    if (!question.aimed.length) {
      weights.found.clear("Nothing counts: give one response an importance above 0.");
      root.dataset.searching = "no";
      return;
    }
    const steps = searched(data, question);
    const slice = () => {
      const until = performance.now() + SLICE_MS;
      let next;
      do next = steps.next();
      while (!next.done && performance.now() < until);
      if (next.value) {
        found = next.value;
        weights.found.show(found, next.done);
      }
      if (!next.done) searching = setTimeout(slice, 0);
      else {
        root.dataset.searching = "no";
        const words = document.getElementById("found").textContent;
        if (state.role !== null) say(live, `The compromise: ${words}`);
      }
    };
    slice();
  }

  showAll(said.join(". "));
  search();
  return { state: () => state, found: () => found };
}

const text = document.getElementById("data")?.textContent;
if (text) {
  const data = readData(text);
  const page = beginPage(data, document.getElementById("page"));
  for (const button of document.querySelectorAll("[data-print]")) {
    button.addEventListener("click", () => print());
  }
  // For whoever checks the arithmetic: the same functions that the page uses, and nothing else.
  globalThis.recipeCard = Object.freeze({
    data,
    ...page,
    predictAt,
    roomOf,
    batchAt,
    sampleAt,
    isAllowed,
    stepped,
    nearestTo,
    tQuantile,
    tBelow,
    countQuantile,
    questionOf,
    compromiseFor,
    withError,
    atLevel,
  });
}
