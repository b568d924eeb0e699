// Opens reports in a headless browser and checks what a reader would see.
//
//   node look.mjs PAGE.html... [--out DIR]
//
// Checks: no console errors, no network requests; every mark of a chart inside its drawing; no text over another or
// out of its drawing at 360, 768 and 1280 px; no sideways scrolling of the page; print to PDF on A4 and Letter, and in
// the PDF itself every chart whole on one page with its title, nothing outside the page; accessible names (axe-core).
// Pictures of screens and of printed pages are kept in DIR. Needs pdftotext and pdftoppm (package poppler-utils).
import { execFileSync } from "node:child_process";
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync, existsSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { basename, join, resolve } from "node:path";
import { pathToFileURL } from "node:url";
import puppeteer from "puppeteer-core";

const require = createRequire(import.meta.url);
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");
const args = process.argv.slice(2);
const at = args.indexOf("--out");
const out = resolve(at >= 0 ? args[at + 1] : "target/browser");
const pages = args.filter((a, i) => !a.startsWith("--") && (at < 0 || i !== at + 1));
if (pages.length === 0) {
  console.error("No page named. Give one or more HTML files: node look.mjs reports/merrowby-school/report.html");
  process.exit(2);
}
mkdirSync(out, { recursive: true });
const chrome = [process.env.CHROMIUM, "/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome"].find(
  (path) => path && existsSync(path),
);
if (!chrome) {
  console.error("No Chromium found. Install the package `chromium`, or name the program in CHROMIUM.");
  process.exit(2);
}
const home = mkdtempSync(join(tmpdir(), "look-"));
const browser = await puppeteer.launch({
  executablePath: chrome,
  headless: true,
  userDataDir: home,
  args: [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage", "--hide-scrollbars",
  ],
});
const faults = [];
const fault = (page, text) => { faults.push(`${page}: ${text}`); console.error(`FAULT ${page}: ${text}`); };

/** Runs in the page: what is wrong with the layout at this width. */
function lookAtLayout() {
  const faults = [];
  const root = document.documentElement;
  if (root.scrollWidth > root.clientWidth + 1) {
    const wide = [...document.querySelectorAll("body *")].filter((e) => e.getBoundingClientRect().right > root.clientWidth + 1 && !e.closest(".scroll") && !e.closest("svg"));
    faults.push(`page scrolls sideways by ${root.scrollWidth - root.clientWidth} px: ${wide.slice(0, 3).map((e) => e.tagName + "." + e.className).join(", ")}`);
  }
  let charts = 0;
  for (const svg of document.querySelectorAll("svg.chart")) {
    const box = svg.getBoundingClientRect();
    if (box.width === 0) continue;
    charts += 1;
    const name = svg.closest("figure")?.id ?? "chart";
    const marks = [...svg.querySelectorAll("rect, path, line, ellipse")];
    if (marks.length < 3) faults.push(`${name}: only ${marks.length} marks`);
    for (const mark of marks) {
      const b = mark.getBoundingClientRect();
      if (b.left < box.left - 1.5 || b.right > box.right + 1.5 || b.top < box.top - 1.5 || b.bottom > box.bottom + 1.5) {
        faults.push(`${name}: a ${mark.tagName} of class ${mark.getAttribute("class")} leaves the drawing`);
        break;
      }
    }
    const texts = [...svg.querySelectorAll("text")].map((t) => ({ text: t.textContent, b: t.getBoundingClientRect() }));
    for (const { text, b } of texts) {
      if (b.left < box.left - 1 || b.right > box.right + 1 || b.top < box.top - 1 || b.bottom > box.bottom + 1) faults.push(`${name}: text "${text}" leaves the drawing`);
    }
    for (let i = 0; i < texts.length; i += 1) {
      for (let j = i + 1; j < texts.length; j += 1) {
        const [a, b] = [texts[i].b, texts[j].b];
        const x = Math.min(a.right, b.right) - Math.max(a.left, b.left);
        const y = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
        if (x > 0.5 && y > 2.5) faults.push(`${name}: "${texts[i].text}" meets "${texts[j].text}" (${x.toFixed(1)} x ${y.toFixed(1)} px)`);
      }
    }
    const label = svg.getAttribute("aria-labelledby")?.split(" ").map((id) => document.getElementById(id)?.textContent ?? "");
    if (!label || label.some((l) => l.length === 0)) faults.push(`${name}: no accessible name`);
  }
  for (const e of document.querySelectorAll("h1, h2, h3, p, li, dd, figcaption, summary, pre")) {
    if (e.scrollWidth > e.clientWidth + 1 && e.clientWidth > 0) faults.push(`text of ${e.tagName} overflows: ${e.textContent.slice(0, 40)}`);
  }
  return { faults, charts };
}

/** Pages of a PDF with their words and where they stand, in points. */
function pagesOf(file) {
  const text = execFileSync("pdftotext", ["-bbox", file, "-"], { encoding: "utf8", maxBuffer: 1 << 28 });
  const plain = (x) => x.replace(/&lt;/g, "<").replace(/&gt;/g, ">").replace(/&quot;/g, '"').replace(/&#39;/g, "'").replace(/&amp;/g, "&");
  return [...text.matchAll(/<page width="([\d.]+)" height="([\d.]+)">([\s\S]*?)<\/page>/g)].map(([, width, height, body]) => ({
    width: Number(width),
    height: Number(height),
    words: [...body.matchAll(/<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">([^<]*)<\/word>/g)].map((w) => ({ box: w.slice(1, 5).map(Number), text: plain(w[5]) })),
  }));
}

/** What is wrong with a printed report: `figures` are titles and labels of the charts, in order. */
function lookAtPrint(file, figures) {
  const faults = [];
  const tight = (text) => text.normalize("NFKC").replace(/\s+/g, "");
  const words = (text) => text.normalize("NFKC").split(/\s+/).filter((w) => w.length > 0);
  const sheets = pagesOf(file);
  sheets.forEach((sheet, i) => {
    if (sheet.words.length === 0) faults.push(`page ${i + 1} is empty`);
    for (const { box: [x0, y0, x1, y1], text } of sheet.words) {
      if (x0 < 0 || y0 < 0 || x1 > sheet.width || y1 > sheet.height) faults.push(`page ${i + 1}: "${text}" leaves the page`);
    }
  });
  // A title is one run of words; the words of a drawing, each drawn as outline and as fill, come in any order.
  const titles = sheets.map((sheet) => tight(sheet.words.map((w) => w.text).join("")));
  const texts = sheets.map((sheet) => sheet.words.map((w) => w.text.normalize("NFKC")).join(" "));
  const times = (text, part) => text.split(part).length - 1;
  // How often each word must stand on a page, over all charts whose title is there.
  const wanted = sheets.map(() => new Map());
  let from = 0;
  for (const { id, title, labels } of figures) {
    const at = titles.findIndex((text, i) => i >= from && text.includes(tight(title)));
    if (at < 0) { faults.push(`${id}: its title stands whole on no page`); continue; }
    from = at;
    if (labels.length === 0) faults.push(`${id}: no labels in print`);
    for (const word of labels.flatMap(words)) wanted[at].set(word, [...(wanted[at].get(word) ?? []), id]);
  }
  wanted.forEach((all, i) => {
    for (const [word, ids] of all) {
      if (times(texts[i], word) < ids.length) faults.push(`page ${i + 1}: "${word}" of ${[...new Set(ids)].join(", ")} is not there: a chart is cut`);
    }
  });
  return { faults, sheets: sheets.length };
}

for (const path of pages) {
  const name = basename(path, ".html");
  const page = await browser.newPage();
  const url = pathToFileURL(resolve(path)).href;
  page.on("console", (m) => { if (["error", "warn"].includes(m.type())) fault(name, `console: ${m.text()}`); });
  page.on("pageerror", (e) => fault(name, `script error: ${e.message}`));
  page.on("request", (r) => { if (r.url() !== url) fault(name, `network request: ${r.url().slice(0, 100)}`); });
  for (const dark of [false, true]) {
    await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: dark ? "dark" : "light" }]);
    for (const width of [360, 768, 1280]) {
      await page.setViewport({ width, height: 900 });
      await page.goto(url);
      const { faults: found, charts } = await page.evaluate(lookAtLayout);
      for (const f of found) fault(name, `${width} px: ${f}`);
      if (!dark) console.log(`${name}: ${charts} charts at ${width} px`);
      const file = join(out, `${name}-${width}${dark ? "-dark" : ""}.png`);
      if (!dark || width === 1280) await page.screenshot({ path: file, fullPage: true });
      if ((width === 360) !== dark && width !== 768) {
        await page.evaluate(() => document.querySelectorAll("details").forEach((d) => { d.open = true; }));
        const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
        if (wide > 1) fault(name, `${width} px, tables open: page scrolls sideways by ${wide} px`);
        await page.evaluate(axe);
        const result = await page.evaluate(() => window.axe.run(document, { resultTypes: ["violations"] }));
        for (const v of result.violations) fault(name, `${width} px${dark ? " dark" : ""}: ${v.id}: ${v.help}: ${v.nodes.slice(0, 3).map((n) => n.html.slice(0, 120)).join(" | ")}`);
      }
    }
  }
  // Keyboard: the first stop is the link to the answer, and every stop has a name.
  await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: "light" }]);
  await page.setViewport({ width: 1280, height: 900 });
  await page.goto(url);
  const stops = [];
  for (let i = 0; i < 12; i += 1) {
    await page.keyboard.press("Tab");
    stops.push(await page.evaluate(() => document.activeElement?.getAttribute("aria-label") || document.activeElement?.textContent.trim() || document.activeElement?.id || ""));
  }
  if (stops.some((s) => s === "")) fault(name, `a keyboard stop has no name: ${JSON.stringify(stops)}`);
  // Fleet index: sorting and filtering.
  if (await page.$("#sites")) {
    const order = () => page.$$eval("#sites tbody tr", (rows) => rows.filter((r) => !r.hidden).map((r) => r.cells[2].dataset.v).map((v) => (v === undefined ? "" : Number(v))));
    await page.$$eval("#sites thead button", (all) => all[2].click());
    const up = (await order()).filter((x) => x !== "");
    if (up.some((x, i) => i > 0 && x < up[i - 1])) fault(name, "a click on a heading does not sort");
    await page.$$eval("#sites thead button", (all) => all[2].click());
    const down = (await order()).filter((x) => x !== "");
    if (down.some((x, i) => i > 0 && x > down[i - 1])) fault(name, "a second click does not turn the order round");
    const all = (await order()).length;
    await page.type("#filter", "barn");
    const some = (await order()).length;
    if (!(some > 0 && some < all)) fault(name, `the filter leaves ${some} of ${all} rows`);
  }
  // Print: no figure may be cut. Heights are measured in the print layout at the width of the paper's text.
  await page.evaluate(() => document.activeElement?.blur());
  await page.emulateMediaType("print");
  for (const [paper, width, height] of [["A4", 210, 297], ["Letter", 215.9, 279.4]]) {
    const px = (mm) => (mm * 96) / 25.4;
    await page.setViewport({ width: Math.floor(px(width - 28)), height: 900 });
    const tall = await page.evaluate((limit) => [...document.querySelectorAll("figure")].filter((f) => f.getBoundingClientRect().height > limit).map((f) => `${f.id} ${f.getBoundingClientRect().height}`), px(height - 30));
    for (const f of tall) fault(name, `${paper}: ${f} is taller than a page`);
    const { faults: found } = await page.evaluate(lookAtLayout);
    for (const f of found) fault(name, `${paper}: ${f}`);
    const pdf = await page.pdf({ format: paper, printBackground: true, preferCSSPageSize: false });
    if (pdf.length < 10_000) fault(name, `${paper}: the PDF is empty`);
    const file = join(out, `${name}-${paper}.pdf`);
    writeFileSync(file, pdf);
    const figures = await page.evaluate(() => [...document.querySelectorAll("figure")].map((figure) => {
      const svg = [...figure.querySelectorAll("svg.chart")].find((s) => s.getBoundingClientRect().width > 0);
      return {
        id: figure.id,
        title: figure.querySelector("figcaption")?.textContent ?? "",
        labels: [...(svg?.querySelectorAll("text") ?? [])].map((t) => t.textContent),
      };
    }));
    const print = lookAtPrint(file, figures);
    for (const f of print.faults) fault(name, `${paper}: ${f}`);
    console.log(`${name}: ${figures.length} charts on ${print.sheets} pages of ${paper}`);
    execFileSync("pdftoppm", ["-r", "50", "-png", file, join(out, `${name}-${paper}`)]);
  }
  await page.close();
}
await browser.close();
rmSync(home, { recursive: true, force: true });
if (faults.length > 0) {
  console.error(`${faults.length} faults`);
  process.exit(1);
}
console.log(`${pages.length} pages looked at, pictures in ${out}`);
