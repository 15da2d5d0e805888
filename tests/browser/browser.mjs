// Opens reports from disk in a headless browser and watches for errors and requests.

import { existsSync } from "node:fs";
import { pathToFileURL } from "node:url";
import { chromium } from "playwright-core";

/** Flags that keep the browser from any work of its own. */
const FLAGS = [
  "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
  "--disable-background-networking", "--disable-component-update", "--disable-sync",
];

const executable = process.env.CHROMIUM ?? ["/usr/bin/chromium", "/usr/bin/chromium-browser"].find(existsSync);

export const launch = () => chromium.launch({ executablePath: executable, args: FLAGS });

/**
 * Opens a page from disk. Everything that the console reports as an error and every request but the page's own
 * are collected in `trouble`.
 */
export async function open(browser, file, options = {}) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, ...options });
  const page = await context.newPage();
  const trouble = [];
  const url = pathToFileURL(file).href;
  page.on("console", (message) => ["error", "warning"].includes(message.type()) && trouble.push(message.text()));
  page.on("pageerror", (error) => trouble.push(String(error)));
  page.on("request", (request) => {
    const address = request.url();
    if (address.split("#")[0] !== url && !address.startsWith("data:")) trouble.push(`request: ${address}`);
  });
  page.on("dialog", (dialog) => {
    trouble.push(`dialog: ${dialog.message()}`);
    dialog.dismiss();
  });
  await page.goto(url, { waitUntil: "load" });
  return { page, trouble, close: () => context.close() };
}
