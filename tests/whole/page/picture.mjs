// SPDX-License-Identifier: Apache-2.0
// node picture.mjs PAGE PICTURE MODULES: what real Chromium shows of a page in a window 1280 wide.
import { mkdtempSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import { createRequire } from "node:module";

const [from, to, modules] = process.argv.slice(2).map((path) => resolve(path));
const { chromium } = createRequire(join(modules, "package.json"))("playwright-core");
const browser = await chromium.launchPersistentContext(mkdtempSync(join(tmpdir(), "telltale-page-")), {
  executablePath: process.env.CHROMIUM || "/usr/bin/chromium",
  headless: true,
  colorScheme: "light",
  viewport: { width: 1280, height: 915 },
  args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync"],
});
const page = await browser.newPage();
await page.goto(pathToFileURL(from).href);
await page.waitForSelector("html[data-ready=yes]");
await page.waitForTimeout(300);
await page.screenshot({ path: to });
await browser.close();
