// The report in a real browser.

import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { existsSync, mkdirSync, readdirSync, readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { join } from "node:path";
import { after, before, describe, test } from "node:test";
import { HtmlValidate } from "html-validate";
import { launch, open } from "./browser.mjs";
import { reading, shown, table } from "./tables.mjs";

const require = createRequire(import.meta.url);
const axeSource = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const reports = process.env.REPORTS;
const squads = readdirSync(reports).filter((name) => !name.startsWith("people-"));
const index = (squad) => join(reports, squad, "report.html");
const athletePages = (squad) => {
  const folder = join(reports, squad, "athletes");
  return existsSync(folder) ? readdirSync(folder).map((name) => join(folder, name)) : [];
};
const someAthletePages = (squad) => athletePages(squad).filter((_, place) => place % 17 === 0);
const pagesToLookAt = squads.flatMap((squad) => [index(squad), join(reports, squad, "group.html"), ...athletePages(squad).slice(0, 1)]);

let browser;
before(async () => (browser = await launch()));
after(() => browser?.close());

/** Opens a page and looks at it; nothing that was done there, clicks too, may cause an error or a request. */
async function within(file, options, look) {
  const opened = await open(browser, file, options);
  try {
    await look(opened.page, opened.trouble);
    // The browser tells errors after the fact.
    await new Promise((resolve) => setTimeout(resolve, 20));
    await opened.page.evaluate(() => 0);
    assert.deepEqual(opened.trouble, []);
  } finally {
    await opened.close();
  }
}

/** Leaves each athlete one session, opened: the rest is of the same make and would take minutes to check. */
const thinOut = (page) =>
  page.evaluate(() => {
    // Of many athletes the first ones.
    for (const article of [...document.querySelectorAll("article.athlete")].slice(6)) article.remove();
    for (const article of document.querySelectorAll("article")) {
      for (const session of [...article.querySelectorAll("details.session")].slice(1)) session.remove();
    }
    for (const part of document.querySelectorAll("details")) part.open = true;
  });

describe("opening from disk", () => {
  for (const file of pagesToLookAt) {
    test(`makes no request and no error: ${file.slice(reports.length)}`, () =>
      within(file, {}, async (page, trouble) => {
        assert.deepEqual(trouble, []);
        assert.ok((await page.title()).length > 5);
      }));

    test(`says everything without a script: ${file.slice(reports.length)}`, async () => {
      // What the script adds stands in the places for tools alone.
      const words = (page) =>
        page.evaluate(() => {
          const main = document.querySelector("main").cloneNode(true);
          const tools = [...main.querySelectorAll(".tools")];
          const added = tools.map((place) => place.textContent).join("").trim();
          for (const place of tools) place.remove();
          return [main.textContent.replace(/\s+/g, " "), added];
        });
      let without;
      await within(file, { javaScriptEnabled: false }, async (page) => (without = await words(page)));
      await within(file, {}, async (page) => assert.equal((await words(page))[0], without[0]));
      assert.ok(without[0].length > 500);
      assert.equal(without[1], "", "a tool that does nothing without the script");
    });
  }

  test("paints the index of 100 athletes within a second", () =>
    within(index("large"), {}, async (page) => {
      const paint = await page.evaluate(
        () => new Promise((resolve) => {
          const look = () => {
            const [entry] = performance.getEntriesByName("first-contentful-paint");
            entry ? resolve(entry.startTime) : setTimeout(look, 20);
          };
          look();
        }));
      assert.ok(paint < 1000, `${paint} ms`);
    }));
});

describe("figures", () => {
  for (const squad of squads) {
    test(`of the squad table and the files equal the CSVs: ${squad}`, () =>
      within(index(squad), {}, async (page) => {
        const cells = await page.evaluate(() => {
          const cells = [];
          for (const table of document.querySelectorAll("table[data-table][id], #files table")) {
            const columns = [...table.tHead.rows[0].cells].map((head) => head.dataset.column);
            for (const row of table.tBodies[0].rows) {
              if (row.querySelector("[colspan]")) continue;
              [...row.cells].forEach((cell, place) => {
                const data = cell.querySelector("data");
                if (columns[place] && data) {
                  cells.push([table.dataset.table, row.dataset.row, columns[place], data.value, data.textContent]);
                }
              });
            }
          }
          return cells;
        });
        const folder = join(reports, squad);
        const keyed = {
          athletes: new Map(table(folder, "athletes").map((row) => [row.athlete, row])),
          sessions: new Map(table(folder, "sessions").map((row) => [`${row.file}#${row.session}`, row])),
          files: new Map(table(folder, "files").map((row) => [row.file, row])),
        };
        assert.ok(cells.length >= keyed.athletes.size);
        for (const [name, key, column, value, text] of cells) {
          const row = keyed[name].get(key);
          assert.ok(row, `${name} ${key}`);
          // Sessions whose running could not be told show no longest run.
          if (column === "longest_run_s" && row.resolvable === "false") continue;
          assert.equal(value, row[column], `${name} ${key} ${column}`);
          const expected = reading(column, row[column]);
          if (expected !== null && column.match(/_(s|m|pct|week)$/)) assert.equal(text, expected, `${key} ${column}`);
        }
        const shown = await page.locator("#squad-table tbody tr").count();
        assert.equal(shown, keyed.athletes.size, "a row an athlete");
      }));

    test(`of each athlete and week equal the CSVs: ${squad}`, async () => {
      const folder = join(reports, squad);
      const athletes = new Map(table(folder, "athletes").map((row) => [row.athlete, row]));
      const weeks = new Map(table(folder, "weeks").map((row) => [`${row.athlete} ${row.week}`, row]));
      let seen = 0;
      for (const file of [index(squad), ...someAthletePages(squad)]) {
        await within(file, {}, async (page) => {
          const cells = await page.evaluate(() =>
            [...document.querySelectorAll("article")].flatMap((article) => {
              const name = article.dataset.athlete;
              const weekly = article.querySelector("table[data-table=weeks]");
              const heads = weekly ? [...weekly.tHead.rows[0].cells].map((head) => head.dataset.column) : [];
              return [
                ...[...article.querySelectorAll("dl[data-table=athletes] dd")].map((dd) =>
                  [name, dd.dataset.column, dd.firstElementChild.value, dd.textContent]),
                ...[...(weekly?.tBodies[0].rows ?? [])].flatMap((row) =>
                  heads.flatMap((column, place) => {
                    const data = row.cells[place].querySelector("data");
                    return data ? [[`${name} ${row.dataset.row}`, column, data.value, data.textContent]] : [];
                  })),
              ];
            }));
          for (const [key, column, value, text] of cells) {
            const row = athletes.get(key) ?? weeks.get(key);
            assert.equal(value, row[column], `${key} ${column}`);
            const expected = column === "spike_pct" ? null : reading(column, value);
            if (expected !== null) assert.equal(text, expected, `${key} ${column}`);
            seen += 1;
          }
        });
      }
      assert.ok(seen > 50, `${seen} cells`);
    });

    test(`of each session and its reps equal the CSVs: ${squad}`, async () => {
      const folder = join(reports, squad);
      const sessions = new Map(table(folder, "sessions").map((row) => [`${row.file}#${row.session}`, row]));
      const parts = new Map();
      for (const name of ["intervals", "bouts"]) {
        const number = name === "bouts" ? "bout" : "interval";
        for (const row of table(folder, name)) {
          parts.set(`${name} ${row.file}#${row.session} ${row[number]}`, row);
        }
      }
      const pages = athletePages(squad).length > 0 ? someAthletePages(squad) : [index(squad)];
      let seen = 0;
      for (const file of pages) {
        await within(file, {}, async (page) => {
          const found = await page.evaluate(() =>
            [...document.querySelectorAll("details.session")].map((session) => ({
              key: session.dataset.session,
              figures: [...session.querySelectorAll("dd[data-column]")].map((dd) => {
                const data = dd.querySelector("data");
                return [dd.dataset.column, data.value, data.textContent];
              }),
              lines: [...session.querySelectorAll("table[data-table] tbody tr")].map((row) => ({
                table: row.closest("table").dataset.table,
                key: row.dataset.row,
                values: [...row.querySelectorAll("data")].map((data) => data.value),
                status: row.lastElementChild.textContent,
              })),
            })));
          for (const session of found) {
            seen += 1;
            const row = sessions.get(session.key);
            assert.ok(row, session.key);
            for (const [column, value, text] of session.figures) {
              assert.equal(value, row[column], `${session.key} ${column}`);
              const expected = reading(column, value);
              if (expected !== null) assert.equal(text, expected, `${session.key} ${column}`);
            }
            for (const line of session.lines) {
              const part = parts.get(`${line.table} ${session.key} ${line.key}`);
              assert.ok(part, `${session.key} ${line.key}`);
              const expected = line.table === "intervals"
                ? [part.planned_m || part.planned_s, part.planned_m ? part.done_m : part.done_s, part.credit_pct]
                : [part.start_s, part.duration_s, part.distance_m, part.pace_s_per_km, part.hr_mean_bpm, part.cadence_spm]
                    .slice(0, line.values.length);
              if (line.table === "intervals") assert.equal(line.status, part.status);
              if (line.table === "intervals" || line.values.length !== 5) assert.deepEqual(line.values, expected, session.key);
            }
          }
        });
      }
      if (athletePages(squad).length === 0) assert.equal(seen, sessions.size, "every session is shown");
      assert.ok(seen > 0);
    });
  }
});

describe("strips", () => {
  for (const squad of squads) {
    test(`stand where the times say, to the pixel: ${squad}`, async () => {
      const bouts = table(join(reports, squad), "bouts");
      const file = athletePages(squad)[0] ?? index(squad);
      await within(file, {}, async (page) => {
        const drawn = await page.evaluate(() => {
          const sessions = [...document.querySelectorAll("details.session")].slice(0, 40);
          for (const session of sessions) session.open = true;
          return sessions.map((session) => {
            const figure = session.querySelector(".strips");
            const strip = session.querySelector(".strip.done");
            const box = strip.getBoundingClientRect();
            return {
              key: session.dataset.session,
              from: Number(figure.dataset.from),
              to: Number(figure.dataset.to),
              left: box.left,
              width: box.width,
              planned: session.querySelector(".strip.planned")?.getBoundingClientRect().left ?? box.left,
              lines: [...session.querySelectorAll(".strip path")].map((path) => getComputedStyle(path).stroke),
              // Each path goes around the stretches of one kind: from the left edge, and along to the right one.
              stretches: [...strip.querySelectorAll("path")].flatMap((path) => {
                const onScreen = (x) => new DOMPoint(Number(x), 0).matrixTransform(path.getScreenCTM()).x;
                const around = [...path.getAttribute("d").matchAll(/M(\d+) \d+H(\d+)v/g)];
                return around.map(([, left, right]) => [path.getAttribute("class"), onScreen(left), onScreen(right)]);
              }).sort(([, left], [, other]) => left - other),
            };
          });
        });
        assert.ok(drawn.length > 0);
        for (const session of drawn) {
          const own = bouts.filter((row) => `${row.file}#${row.session}` === session.key);
          assert.equal(session.stretches.length, own.length, session.key);
          assert.ok(session.lines.every((line) => line === "none"), "stretches have no line around them");
          assert.equal(session.planned, session.left, "both strips begin at one edge");
          const pixel = (s) => session.left + ((Number(s) - session.from) / (session.to - session.from)) * session.width;
          own.forEach((bout, place) => {
            const [kind, left, right] = session.stretches[place];
            assert.equal(kind, bout.kind);
            assert.ok(Math.abs(left - pixel(bout.start_s)) < 1, `${session.key} ${bout.bout}: ${left}`);
            assert.ok(Math.abs(right - pixel(bout.end_s)) < 1, `${session.key} ${bout.bout}: ${right}`);
          });
        }
      });
    });
  }
});

describe("handling", () => {
  test("each column of the squad table sorts both ways, missing values last", () =>
    within(index("small"), {}, async (page) => {
      const keys = (column) =>
        page.$$eval("#squad-table tbody tr", (rows, column) =>
          rows.map((row) => {
            let place = 0;
            const cell = [...row.cells].find((cell) => (place += cell.colSpan) > column);
            // Held back beside a warning sign.
            if (cell.colSpan > 1) return null;
            const data = cell.querySelector("data");
            const text = data ? data.value : cell.textContent.trim();
            return text === "" ? null : Number.isNaN(Number(text)) ? text : Number(text);
          }), column);
      const heads = page.locator("#squad-table thead th");
      for (let column = 0; column < (await heads.count()); column += 1) {
        // Figures begin with the largest.
        const isFigure = /_(pct|s|per_week)$/.test((await heads.nth(column).getAttribute("data-column")) ?? "");
        const directions = [["ascending", 1], ["descending", -1]];
        for (const [direction, sign] of isFigure ? directions.reverse() : directions) {
          await heads.nth(column).locator("button").click();
          assert.equal(await heads.nth(column).getAttribute("aria-sort"), direction);
          const found = await keys(column);
          const present = found.filter((key) => key !== null);
          assert.deepEqual(found.slice(0, present.length), present, "missing values come last");
          const sorted = [...present].sort(
            (a, b) => sign * (typeof a === "number" ? a - b : a.localeCompare(b)));
          assert.deepEqual(present, sorted, `column ${column}, ${direction}`);
        }
      }
    }));

  test("the filter shows the rows that hold the words, and all again", () =>
    within(index("small"), {}, async (page) => {
      await page.locator("#recent > details > summary").click();
      const rows = page.locator("#recent-table tbody tr");
      const all = await rows.count();
      await page.locator("#recent input[type=search]").fill("then walked ON");
      const shown = await rows.filter({ visible: true }).allTextContents();
      assert.ok(shown.length > 0 && shown.length < all);
      assert.ok(shown.every((text) => text.includes("then walked on")));
      await page.locator("#recent input[type=search]").fill("");
      assert.equal(await rows.filter({ visible: true }).count(), all);
    }));

  test("an address of a session opens it", () =>
    within(index("small"), {}, async (page) => {
      await page.locator("#recent > details > summary").click();
      const link = page.locator("#recent-table tbody td a").first();
      const id = (await link.getAttribute("href")).slice(1);
      await link.click();
      await page.waitForFunction((id) => document.getElementById(id).closest("details").open, id);
      assert.ok(await page.locator(`#${id}`).isVisible());
    }));

  test("every link of a page leads somewhere", async () => {
    for (const squad of squads) {
      await within(index(squad), {}, async (page) => {
        const broken = await page.evaluate(() =>
          [...document.querySelectorAll("a[href^='#'], use[href^='#']")]
            .map((link) => link.getAttribute("href").slice(1))
            .filter((id) => !document.getElementById(id)));
        assert.deepEqual([...new Set(broken)], []);
        const files = await page.$$eval("a[href^='athletes/']", (links) => links.map((link) => link.getAttribute("href")));
        for (const href of new Set(files.map((href) => href.split("#")[0]))) {
          assert.ok(existsSync(join(reports, squad, href)), href);
        }
      });
    }
  });

  test("the keyboard reaches the content first and opens a session", () =>
    within(index("small"), {}, async (page) => {
      await page.keyboard.press("Tab");
      assert.equal(await page.evaluate(() => document.activeElement.className), "skip");
      const whole = page.locator("details.whole > summary").first();
      await whole.focus();
      await page.keyboard.press("Enter");
      const summary = page.locator("details.session > summary").first();
      await summary.focus();
      await page.keyboard.press("Enter");
      assert.ok(await page.locator("details.session").first().evaluate((session) => session.open));
    }));
});

describe("access", () => {
  for (const scheme of ["light", "dark"]) {
    for (const file of pagesToLookAt) {
      test(`axe finds nothing, ${scheme}: ${file.slice(reports.length)}`, () =>
        within(file, { colorScheme: scheme }, async (page) => {
          await thinOut(page);
          await page.evaluate(axeSource);
          const found = await page.evaluate(() =>
            axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }));
          const all = found.violations.map((violation) => `${violation.id}: ${violation.nodes[0].html.slice(0, 200)}`);
          assert.deepEqual(all, []);
        }));
    }
  }

  for (const file of pagesToLookAt) {
    test(`nothing scrolls sideways from 320 to 2000 px: ${file.slice(reports.length)}`, () =>
      within(file, {}, async (page) => {
        const wrong = [];
        const look = async (how) => {
          for (let width = 320; width <= 2000; width += 40) {
            await page.setViewportSize({ width, height: 800 });
            const full = await page.evaluate(() => document.documentElement.scrollWidth);
            if (full > width) {
              const wide = await page.evaluate(() =>
                [...document.querySelectorAll("body *:not(.skip)")]
                  .filter((part) => part.getBoundingClientRect().right > innerWidth + 1 && !part.closest(".wide"))
                  .slice(0, 2)
                  .map((part) => part.outerHTML.slice(0, 160)));
              wrong.push(`${how}, ${width}: ${full} px: ${wide.join("\n")}`);
            }
          }
        };
        await look("folded");
        await thinOut(page);
        await look("opened");
        assert.deepEqual(wrong, []);
      }));
  }

  test("every drawing has a text or is hidden from readers", async () => {
    for (const file of pagesToLookAt) {
      await within(file, {}, async (page) => {
        const bare = await page.$$eval("svg", (drawings) =>
          drawings
            .filter((drawing) => !drawing.closest("[aria-hidden=true]"))
            .filter((drawing) => drawing.getAttribute("role") !== "img" || !drawing.getAttribute("aria-label")).length);
        assert.equal(bare, 0);
      });
    }
  });
});

describe("hostile names", () => {
  test("stay text, each in its own direction", () =>
    within(index("hostile"), {}, async (page, trouble) => {
      assert.deepEqual(trouble, []);
      assert.equal(await page.locator("script").count(), 1, "only the page's own script");
      assert.equal(await page.locator("main b").count(), 0);
      const names = await page.$$eval("#squad-table tbody th", (cells) =>
        cells.map((cell) => [cell.textContent, cell.querySelector("bdi") !== null]));
      const expected = table(join(reports, "hostile"), "athletes").map((row) => shown(row.athlete));
      // The page begins with those who need attention, the table with the first of the alphabet; tests/agreement.rs
      // holds the order.
      assert.deepEqual(names.map(([name]) => name).sort(), expected.sort());
      assert.ok(names.every(([, isIsolated]) => isIsolated));
    }));
});

describe("markup", () => {
  const pages = squads.flatMap((squad) => [index(squad), ...athletePages(squad).slice(0, 2)]);

  test("html-validate finds no fault", async () => {
    const validator = new HtmlValidate({
      extends: ["html-validate:standard"],
      rules: { "void-style": "off" },
    });
    for (const page of pages) {
      const result = await validator.validateFile(page);
      const faults = result.results.flatMap((file) =>
        file.messages.map((message) => `${page}:${message.line}: ${message.ruleId}: ${message.message}`));
      assert.deepEqual(faults.slice(0, 5), []);
    }
  });

  test("the Nu checker finds no fault", () => {
    const jar = require.resolve("vnu-jar/build/dist/vnu.jar");
    // The checker's list of CSS properties lacks two of SVG 2.
    const known = ["--filterpattern", ".*“(vector-effect|paint-order)”.*"];
    execFileSync("java", ["-Xss8m", "-jar", jar, "--errors-only", ...known, ...pages], { stdio: ["ignore", "inherit", "inherit"] });
  });
});

describe("pictures", { skip: !process.env.SCREENSHOTS }, () => {
  const looks = [
    ["desktop-light", { viewport: { width: 1280, height: 900 }, colorScheme: "light" }],
    ["desktop-dark", { viewport: { width: 1280, height: 900 }, colorScheme: "dark" }],
    ["phone-light", { viewport: { width: 390, height: 844 }, colorScheme: "light" }],
    ["phone-dark", { viewport: { width: 390, height: 844 }, colorScheme: "dark" }],
  ];
  for (const [name, options] of looks) {
    test(name, async () => {
      mkdirSync(process.env.SCREENSHOTS, { recursive: true });
      for (const squad of squads) {
        await within(index(squad), options, async (page) => {
          await page.locator("details.session").first().evaluate((session) => (session.open = true)).catch(() => {});
          await page.screenshot({ path: join(process.env.SCREENSHOTS, `${squad}-${name}.png`), clip: { x: 0, y: 0, width: options.viewport.width, height: 4000 }, fullPage: true });
        });
      }
    });
  }

  test("print", async () => {
    for (const squad of squads) {
      await within(index(squad), {}, (page) =>
        page.pdf({ path: join(process.env.SCREENSHOTS, `${squad}-print.pdf`), format: "A4" }));
    }
  });
});
