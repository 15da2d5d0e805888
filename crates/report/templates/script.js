// Sorting, filtering and opening. The page says everything without this script.
(() => {
  "use strict";

  const key = (cell) => {
    if (cell.matches(".held-back")) return null;
    const data = cell.querySelector("data");
    const text = data ? data.value : cell.textContent.trim();
    const number = Number(text);
    return text === "" || text === "–" ? null : Number.isNaN(number) ? text : number;
  };

  const compare = (a, b) => {
    if (typeof a === "number" && typeof b === "number") return a - b;
    return String(a).localeCompare(String(b));
  };

  const sort = (table, column, falling) => {
    const body = table.tBodies[0];
    const rows = [...body.rows].map((row) => {
      let place = 0;
      const cell = [...row.cells].find((cell) => (place += cell.colSpan) > column);
      return { row, key: key(cell) };
    });
    // Missing values stay last, whichever way the rest is sorted.
    rows.sort((a, b) =>
      a.key === null || b.key === null
        ? (a.key === null) - (b.key === null)
        : compare(a.key, b.key) * (falling ? -1 : 1));
    body.append(...rows.map(({ row }) => row));
  };

  for (const table of document.querySelectorAll("table.sortable")) {
    const heads = [...table.tHead.rows[0].cells];
    heads.forEach((head, column) => {
      const button = document.createElement("button");
      button.type = "button";
      button.append(...head.childNodes);
      head.append(button);
      button.addEventListener("click", () => {
        // Figures begin with the largest, names with the first of the alphabet.
        const before = head.getAttribute("aria-sort");
        const isFigure = head.matches(".figure, [data-column$='_per_week']");
        const falling = before === null ? isFigure : before === "ascending";
        heads.forEach((other) => other.removeAttribute("aria-sort"));
        head.setAttribute("aria-sort", falling ? "descending" : "ascending");
        sort(table, column, falling);
      });
    });
  }

  // Accents and case make no difference.
  const plain = (text) => text.normalize("NFD").replace(/\p{M}/gu, "").toLocaleLowerCase();

  for (const tools of document.querySelectorAll("[data-filter-for]")) {
    const table = document.getElementById(tools.dataset.filterFor);
    const rows = [...table.tBodies[0].rows];
    const label = document.createElement("label");
    const input = document.createElement("input");
    const count = document.createElement("span");
    input.type = "search";
    count.setAttribute("role", "status");
    label.append(`${tools.dataset.filterLabel} `, input);
    tools.append(label);
    const tests = [(row) => plain(row.textContent).includes(plain(input.value.trim()))];
    const show = () => {
      for (const row of rows) row.hidden = !tests.every((test) => test(row));
      const shown = rows.filter((row) => !row.hidden).length;
      count.textContent = shown === rows.length ? "" : `${shown} of ${rows.length}`;
    };
    input.addEventListener("input", show);
    [...table.tHead.rows[0].cells].forEach((head, column) => {
      if (!head.dataset.pick) return;
      const said = (row) => (row.cells[column].querySelector("data") ?? row.cells[column]).textContent.trim();
      const values = [...new Set(rows.map(said))].sort();
      if (values.length < 2) return;
      const label = document.createElement("label");
      const pick = document.createElement("select");
      pick.append(new Option("all", ""), ...values.filter(Boolean).map((value) => new Option(value, value)));
      label.append(`${head.dataset.pick} `, pick);
      tools.append(label);
      tests.push((row) => pick.value === "" || said(row) === pick.value);
      pick.addEventListener("change", show);
    });
    tools.append(count);
  }

  for (const tools of document.querySelectorAll("[data-open-all]")) {
    const button = document.createElement("button");
    const sessions = () => [...tools.parentElement.querySelectorAll("details.session")];
    button.type = "button";
    button.textContent = "Open all sessions";
    tools.append(button);
    button.addEventListener("click", () => {
      const open = sessions().some((session) => !session.open);
      for (const session of sessions()) session.open = open;
      button.textContent = open ? "Close all sessions" : "Open all sessions";
    });
  }

  // Older browsers do not open a closed part when an address points into it.
  const reveal = () => {
    const target = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    const fold = target && target.querySelector(":scope > details");
    if (fold && target.matches(".fold")) fold.open = true;
    let closed = target && target.closest("details:not([open])");
    const isHidden = Boolean(closed);
    for (; closed; closed = target.closest("details:not([open])")) closed.open = true;
    if (isHidden) target.scrollIntoView();
  };
  addEventListener("hashchange", reveal);
  reveal();
})();
