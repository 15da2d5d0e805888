// The group sheet and the slips: on paper, on a phone, and what a coach asks on a Monday.

import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { readdirSync, statSync } from "node:fs";
import { join } from "node:path";
import { after, before, describe, test } from "node:test";
import { launch, open } from "./browser.mjs";
import { table } from "./tables.mjs";

const reports = process.env.REPORTS;
const file = (squad, name) => join(reports, squad, name);

/** The part of an A4 page between the margins, in CSS pixels of 1/96 inch. */
const PAPER = { width: Math.floor(((210 - 24) / 25.4) * 96), height: Math.floor(((297 - 28) / 25.4) * 96) };
/** A phone of common size (common practice, no source). */
const PHONE = { width: 390, height: 844 };

let browser;
before(async () => (browser = await launch()));
after(() => browser?.close());

async function within(path, options, look) {
  const opened = await open(browser, path, options);
  try {
    await look(opened.page);
    assert.deepEqual(opened.trouble, []);
  } finally {
    await opened.close();
  }
}

/** How many pages a page prints on. */
async function printed(page) {
  const bytes = await page.pdf({ preferCSSPageSize: true });
  return (bytes.toString("latin1").match(/\/Type\s*\/Page\b(?!s)/g) ?? []).length;
}

describe("on paper", () => {
  for (const [people, sheet] of [[15, 1], [30, 2]]) {
    test(`the sheet of ${people} prints on ${sheet}, and slips two to a page`, () =>
      within(file(`people-${people}`, "group.html"), {}, async (page) => {
        assert.equal(await page.locator("article.slip").count(), people);
        assert.equal(await printed(page), sheet + Math.ceil(people / 2));
        await page.evaluate(() => document.querySelector(".slips").remove());
        assert.equal(await printed(page), sheet);
      }));
  }

  test("the report of 15 prints on two pages and one for each", () =>
    within(file("people-15", "report.html"), {}, async (page) => {
      const pages = await printed(page);
      assert.ok(pages <= 2 + 15, `${pages} pages`);
      // An athlete's page is more than its heading, though all athletes stand folded on a screen.
      await page.emulateMedia({ media: "print" });
      const heights = await page.$$eval("article.athlete .inside", (parts) => parts.map((part) => part.clientHeight));
      assert.equal(heights.length, 15);
      assert.ok(heights.every((height) => height > 200), heights.join(" "));
    }));

  for (const [squad, name] of [["people-15", "group.html"], ["people-30", "group.html"], ["people-15", "report.html"], ["audit", "group.html"]]) {
    test(`nothing is cut: ${squad}/${name}`, () =>
      within(file(squad, name), { viewport: PAPER }, async (page) => {
        await page.emulateMedia({ media: "print" });
        const cut = await page.evaluate(() => {
          const wide = [...document.querySelectorAll("main *")].filter(
            (part) => part.getBoundingClientRect().right > innerWidth + 1 && !part.closest("svg, .hidden"));
          const high = [...document.querySelectorAll(".slip")].filter((slip) => slip.scrollHeight > slip.clientHeight + 1);
          return [...wide, ...high].slice(0, 3).map((part) => part.outerHTML.slice(0, 200));
        });
        assert.deepEqual(cut, []);
      }));
  }

  test("words of the trade are explained on the sheet and on the page of all", () =>
    within(file("people-15", "report.html"), { viewport: PAPER }, async (page) => {
      await page.emulateMedia({ media: "print" });
      const explained = await page.$$eval("dl.words dt", (terms) =>
        terms.filter((term) => term.checkVisibility()).map((term) => term.textContent));
      for (const word of ["absent", "attendance", "dose", "unbroken run"]) assert.ok(explained.includes(word), word);
    }));
});

test("fifteen people take fewer than ten screens of a phone before anything is opened", () =>
  within(file("people-15", "report.html"), { viewport: PHONE }, async (page) => {
    const height = await page.evaluate(() => document.documentElement.scrollHeight);
    assert.ok(height < 10 * PHONE.height, `${height / PHONE.height} screens`);
  }));

test("no page of 100 athletes with 60 sessions each is over 5 MB", () => {
  const pages = readdirSync(join(reports, "large"), { recursive: true }).filter((name) => name.endsWith(".html"));
  assert.ok(pages.length > 100);
  for (const name of pages) {
    const { size } = statSync(join(reports, "large", name));
    assert.ok(size < 5_000_000, `${name}: ${size} bytes`);
  }
});

describe("a Monday's questions are answered on the sheet", () => {
  const folder = join(reports, "audit");
  const isDemo = !process.env.BOUTWISE_REPORT;
  const day = (date) =>
    new Intl.DateTimeFormat("en-GB", { weekday: "short", day: "numeric", month: "short", timeZone: "UTC" })
      .format(new Date(`${date}T00:00:00Z`)).replace(",", "");
  const sessions = () => new Map(table(folder, "sessions").map((row) => [`${row.file}#${row.session}`, row]));

  /** The answers under a question: name and text. */
  const answers = (page, title) =>
    page.$$eval("#attention .questions > div", (parts, title) =>
      parts
        .filter((part) => part.querySelector("dt").textContent.startsWith(title))
        .flatMap((part) => [...part.querySelectorAll("dd")])
        .map((dd) => [dd.querySelector(".name").textContent, dd.textContent]), title);

  /** Events of the last seven days up to the newest day: name, day, sentence. */
  const lately = (kinds) => {
    const of = sessions();
    const last = [...of.values()].map((row) => row.start_local.slice(0, 10)).sort().at(-1);
    const first = new Date(Date.parse(last) - 6 * 86_400_000).toISOString().slice(0, 10);
    return table(folder, "events")
      .filter((event) => kinds.includes(event.event))
      .map((event) => [event.athlete, of.get(`${event.file}#${event.session}`).start_local.slice(0, 10), event.text])
      .filter(([, date]) => date >= first);
  };
  const ask = (name, look) =>
    test(name, { skip: !isDemo }, () => within(file("audit", "report.html"), {}, async (page) => {
      // Nothing was opened, and the sheet comes before anybody's own part.
      assert.ok(await page.locator("#attention").isVisible());
      await look(page);
    }));
  const all = async (page, title, events) => {
    const found = await answers(page, title);
    const stopped = new Set(table(folder, "athletes").filter((row) => row.proposal === "stop").map((row) => row.athlete));
    const expected = events.filter(([athlete]) => !stopped.has(athlete));
    assert.ok(expected.length > 0, "the demo has such a session");
    for (const [athlete, date, text] of expected) {
      assert.ok(found.some(([name, said]) => name === athlete && said.includes(day(date)) && said.includes(text)),
        `${athlete}, ${day(date)}: ${text}\n${found.join("\n")}`);
    }
  };

  ask("who stopped early on Tuesday", async (page) => {
    const events = lately(["stopped_after"]).filter(([, date]) => day(date).startsWith("Tue"));
    await all(page, "Stopped early", events);
  });
  ask("who was absent", async (page) => {
    const found = new Map(await answers(page, "Absent"));
    // Who ran that day was there, whatever session it was.
    const out = new Set([...sessions().values()].filter((row) => row.counted === "true")
      .map((row) => `${row.athlete} ${row.start_local.slice(0, 10)}`));
    const missed = table(folder, "planned").filter((row) =>
      row.outcome === "missed" && row.due_date >= "2026-04-13" && !out.has(`${row.athlete} ${row.due_date}`));
    assert.ok(missed.length > 0);
    for (const row of missed) assert.ok(found.get(row.athlete)?.includes(day(row.due_date)), row.athlete);
    assert.equal(found.size, new Set(missed.map((row) => row.athlete)).size);
  });
  ask("whose walks were skipped", (page) => all(page, "Walks run through", lately(["reps_joined", "ran_through"])));
  ask("which rep was skipped", (page) => all(page, "Stopped early, or less", lately(["rep_walked", "rep_left_out"])));
  ask("whose longest run grew most", async (page) => {
    const [[name]] = await answers(page, "Longest run grew most");
    const shown = table(folder, "athletes").filter((row) => row.proposal !== "stop" && row.longest_run_trend_s_per_week);
    shown.sort((a, b) => b.longest_run_trend_s_per_week - a.longest_run_trend_s_per_week);
    assert.equal(name, shown[0].athlete);
  });
  ask("who should not run tomorrow", async (page) => {
    const found = (await answers(page, "Not to run now")).map(([name]) => name);
    // A day of rest that was called for after an earlier session is over.
    const last = [...sessions().values()].map((row) => row.start_local.slice(0, 10)).sort().at(-1);
    const isToday = new Set([...sessions().values()].filter((row) => row.start_local.startsWith(last)).map((row) => row.athlete));
    const told = table(folder, "athletes").filter((row) =>
      row.proposal === "stop" || (/^rest/.test(row.reasons) && isToday.has(row.athlete)));
    assert.ok(told.length > 1);
    assert.deepEqual(found.sort(), told.map((row) => row.athlete).sort());
  });
  ask("what Cato does next, and when", async (page) => {
    const cato = table(folder, "athletes").find((row) => row.athlete === "Cato");
    const next = table(folder, "planned").find((row) =>
      row.athlete === "Cato" && row.plan_block === cato.next_block && row.plan_session === cato.next_session);
    const texts = await page.$$eval(".sub-group, .alone li", (parts) => parts.map((part) => part.textContent));
    const own = texts.filter((text) => text.includes("Cato"));
    assert.equal(own.length, 1);
    assert.ok(own[0].includes(`${cato.next_block}, ${cato.next_session}`), own[0]);
    assert.match(own[0], /(Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d+ [A-Z][a-z]+/);
    assert.ok(next);
  });
  ask("how last week went against the one before", async (page) => {
    const sum = (week, column) =>
      table(folder, "weeks").filter((row) => row.week === week).reduce((sum, row) => sum + Number(row[column]), 0);
    const weeks = [...new Set(table(folder, "weeks").map((row) => row.week))].sort().slice(-2).reverse();
    const sentence = await page.locator(".sentence").textContent();
    const found = [...sentence.matchAll(/came (\d+) of (\d+) due/g)].map((match) => [Number(match[1]), Number(match[2])]);
    assert.deepEqual(found, weeks.map((week) => [sum(week, "sessions_attempted"), sum(week, "sessions_due")]));
  });
});

describe("finding somebody", () => {
  test("accents and case do not matter", () =>
    within(file("audit", "report.html"), {}, async (page) => {
      await page.locator("#squad input[type=search]").fill("càtO");
      assert.deepEqual(await page.locator("#squad-table tbody tr").filter({ visible: true }).locator("th").allTextContents(), ["Cato"]);
    }));

  test("those who came and those who did not can be picked", () =>
    within(file("audit", "report.html"), {}, async (page) => {
      // ISO 8601: the demo ends on Sunday of week 17.
      const said = table(join(reports, "audit"), "weeks").filter((row) => row.week === "2026-W17");
      const rows = page.locator("#squad-table tbody tr").filter({ visible: true });
      const picked = new Map();
      for (const value of (await page.locator("#squad select").first().locator("option").allTextContents()).slice(1)) {
        await page.locator("#squad select").first().selectOption(value);
        picked.set(value, (await rows.locator("th").allTextContents()).sort());
      }
      const came = said.filter((row) => Number(row.sessions) > 0).map((row) => row.athlete).sort();
      assert.deepEqual(picked.get("came"), came);
      const absent = said.filter((row) => Number(row.sessions) === 0 && Number(row.sessions_due) > 0);
      assert.deepEqual(picked.get("did not come") ?? [], absent.map((row) => row.athlete).sort());
      assert.ok(picked.size > 1);
      await page.locator("#squad select").first().selectOption("");
      assert.equal(await rows.count(), table(join(reports, "audit"), "athletes").length);
    }));
});

test("people can be picked by group, and those without one stay among all", () =>
  within(file("small", "report.html"), {}, async (page) => {
    const rows = page.locator("#squad-table tbody tr").filter({ visible: true });
    const pick = page.locator("#squad select").first();
    const all = await rows.count();
    let picked = 0;
    for (const group of ["Early", "Late"]) {
      await pick.selectOption(group);
      const cells = await rows.locator("[data-label=Group]").allTextContents();
      assert.ok(cells.length > 0 && cells.every((cell) => cell === group), cells.join());
      picked += cells.length;
    }
    assert.ok(picked < all);
    await pick.selectOption("");
    assert.equal(await rows.count(), all);
  }));

// Unicode CLDR, as the JavaScript engine has it (Intl): the decimal sign of each language and region.
test("the decimal signs of all languages are those of CLDR", () => {
  const letters = [..."abcdefghijklmnopqrstuvwxyz"];
  const pairs = letters.flatMap((a) => letters.map((b) => a + b));
  const sign = (tag) =>
    new Intl.NumberFormat(tag, { numberingSystem: "latn" }).formatToParts(1.5).find((part) => part.type === "decimal").value;
  const ours = (tag) =>
    JSON.parse(execFileSync(process.env.BOUTWISE, ["columns", "--format", "json", "--csv-for", tag], { maxBuffer: 1 << 24 }))
      .find((column) => column.decimals !== null).decimal_sign;
  const languages = pairs.filter((tag) => Intl.NumberFormat.supportedLocalesOf([tag]).length > 0);
  assert.ok(languages.length > 100);
  for (const language of languages) {
    assert.equal(ours(language), sign(language), language);
    const regions = pairs.map((region) => `${language}-${region.toUpperCase()}`).filter((tag) =>
      new Intl.NumberFormat(tag).resolvedOptions().locale === tag && sign(tag) !== sign(language));
    for (const tag of regions) assert.equal(ours(tag), sign(tag), tag);
  }
});
