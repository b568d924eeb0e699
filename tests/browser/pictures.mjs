// Pictures of the demo report for the README.
//
//   node tests/browser/pictures.mjs [PAGE.html] [FOLDER]
import { existsSync, mkdirSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { dirname, join, resolve } from "node:path";
import { fileURLToPath, pathToFileURL } from "node:url";
import puppeteer from "puppeteer-core";

const root = resolve(dirname(fileURLToPath(import.meta.url)), "../..");
const page_path = resolve(process.argv[2] ?? join(root, "reports/merrowby-school/report.html"));
const folder = resolve(process.argv[3] ?? join(root, "reports/pictures"));
mkdirSync(folder, { recursive: true });
const home = mkdtempSync(join(tmpdir(), "pictures-"));
const browser = await puppeteer.launch({
  executablePath: [process.env.CHROMIUM, "/usr/bin/chromium", "/usr/bin/chromium-browser"].find((p) => p && existsSync(p)),
  headless: true,
  userDataDir: home,
  args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync", "--hide-scrollbars"],
});
const page = await browser.newPage();
await page.setViewport({ width: 820, height: 1000, deviceScaleFactor: 1.5 });
await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: "light" }]);
await page.goto(pathToFileURL(page_path).href);
const shots = [["answer", "#answer"], ["account", "#fig-account"], ["gap", "#gap-1 figure"], ["doubt", "#fig-gap-bands"], ["roof", "#roof figure"]];
for (const [name, selector] of shots) {
  const element = await page.$(selector);
  if (element === null) {
    console.error(`${selector} is not in the report`);
    continue;
  }
  const file = join(folder, `${name}.png`);
  await element.screenshot({ path: file });
  console.log(file.slice(root.length + 1));
}
await browser.close();
rmSync(home, { recursive: true, force: true });
