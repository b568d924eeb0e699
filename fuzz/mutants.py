"""Changes the physics one expression at a time and says which changes no test notices.

    pip install tree-sitter tree-sitter-rust
    python3 fuzz/mutants.py make LAB                 # a copy of the tree with every change built in behind a switch
    python3 fuzz/mutants.py try LAB --minutes 60 --workers 2
    python3 fuzz/mutants.py tell LAB

`make` copies the tree, puts a number behind each operator, comparison, sign, `min`, `max` and literal of the physics
folders, and builds the tests once; changes that do not compile are left out. `try` runs, for each change, the tests
that come past it, those first that noticed most changes of the file, until one fails or takes far too long; it goes on
where it stopped, and with a larger budget it tries again what survived a smaller one. Only what stands
in functions can be switched: constants, patterns and array lengths are not changed, nor zeros, with which sums begin.
"""

import argparse
import collections
import json
import os
import random
import re
import shutil
import subprocess
import threading
import time
from pathlib import Path

import tree_sitter_rust
from tree_sitter import Language, Parser

ROOT = Path(__file__).resolve().parent.parent
FOLDERS = ["sun", "plane", "module", "plant", "energy"]
# Data sheets, their judgement, messages and tests.
LEFT_OUT = {"tests.rs", "rays.rs", "error.rs", "sheet.rs", "vet.rs", "validate.rs", "typical.rs", "cautions.rs", "samples.rs", "laws.rs"}
# Tests that look at the physics; `--lib` stands for those beside the code.
SUITES = ["--lib", "published", "measured", "plain", "laws", "job_laws", "sites"]
CASES = 16

ARITHMETIC = {"+": "-", "-": "+", "*": "/", "/": "*"}
COMPARISON = {"<": ">=", ">=": "<", ">": "<=", "<=": ">", "==": "!=", "!=": "=="}
ASSIGNMENT = {"+=": "-=", "-=": "+=", "*=": "/=", "/=": "*="}
FIXED = {"const_item", "static_item", "attribute_item", "match_pattern", "array_type", "type_arguments", "range_pattern",
         "tuple_struct_pattern", "inner_attribute_item", "type_parameters", "where_clause", "closure_parameters", "parameters"}
SWITCH = '''//! The switch of a changed program: which change is on, and which were passed.
#![allow(missing_docs)]
use std::io::Write;
use std::sync::Once;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering::Relaxed};

const COUNT: usize = %d;
static ON: AtomicUsize = AtomicUsize::new(usize::MAX);
static TRACE: AtomicBool = AtomicBool::new(false);
static PASSED: [AtomicBool; COUNT] = [const { AtomicBool::new(false) }; COUNT];
static START: Once = Once::new();

extern "C" fn tell() {
    let Ok(path) = std::env::var("YEARLIGHT_MUTANT_TRACE") else { return };
    let passed: Vec<String> = (0..COUNT).filter(|&i| PASSED[i].load(Relaxed)).map(|i| i.to_string()).collect();
    if let Ok(mut file) = std::fs::OpenOptions::new().create(true).append(true).open(path) {
        let _ = writeln!(file, "{}", passed.join(" "));
    }
}

#[cold]
#[inline(never)]
fn start() {
    START.call_once(|| {
        let on = std::env::var("YEARLIGHT_MUTANT").ok().and_then(|x| x.parse().ok()).unwrap_or(COUNT);
        if std::env::var_os("YEARLIGHT_MUTANT_TRACE").is_some() {
            TRACE.store(true, Relaxed);
            // SAFETY: `tell` only reads statics, which outlive it.
            unsafe { libc::atexit(tell) };
        }
        ON.store(on, Relaxed);
    });
}

#[inline(always)]
pub fn on(id: usize) -> bool {
    let mut now = ON.load(Relaxed);
    if now == usize::MAX {
        start();
        now = ON.load(Relaxed);
    }
    if TRACE.load(Relaxed) {
        PASSED[id].store(true, Relaxed);
    }
    now == id
}
'''


class Rewriter:
    """One file with a switch at each place."""

    def __init__(self, path, skip, first):
        self.path, self.skip, self.next = path, skip, first
        self.source = (ROOT / path).read_bytes()
        self.parser = Parser(Language(tree_sitter_rust.language()))
        self.sites = []

    def words(self, node):
        return node.text.decode()

    def site(self, node, base, what):
        """A number for a change, or nothing if it is left out."""
        key = f"{self.path}:{base + node.start_byte}-{base + node.end_byte}:{what}"
        if key in self.skip:
            return None
        number = self.next
        self.next += 1
        line = self.source[:base + node.start_byte].count(b"\n") + 1
        self.sites.append({"id": number, "key": key, "line": line, "what": what,
                           "text": " ".join(self.words(node).split())[:100]})
        return number

    def children(self, node, base):
        """The text of a node with its children rewritten."""
        out, at = [], node.start_byte
        for child in node.children:
            out.append(self.tree[at:child.start_byte].decode())
            out.append(self.rewrite(child, base))
            at = child.end_byte
        out.append(self.tree[at:node.end_byte].decode())
        return "".join(out)

    def rewrite(self, node, base):
        kind = node.type
        if kind in FIXED or not node.children and kind != "float_literal":
            return self.words(node)
        if kind == "mod_item" and any(self.words(child) == "tests" for child in node.children):
            return self.words(node)
        if kind == "function_item":
            head = self.words(node).split("{")[0]
            before = node.prev_sibling
            if re.search(r"\bconst\s+(unsafe\s+)?fn\b", head) or before and "cfg(test)" in self.words(before):
                return self.words(node)
        if kind == "macro_invocation":
            return self.macro(node, base)
        on = "crate::mutant::on"
        pieces = [child for child in node.children if not child.type.endswith("comment")]
        if kind == "binary_expression":
            left, mark, right = pieces[0], self.words(pieces[1]), pieces[2]
            known = ARITHMETIC.get(mark) or COMPARISON.get(mark) or (mark if mark in ("&&", "||") else None)
            chain = "let_chain" in str(node) or "let_condition" in str(node)
            number = self.site(node, base, mark) if known and not chain else None
            a, b = self.rewrite(left, base), self.rewrite(right, base)
            if number is None:
                return f"{a} {mark} {b}"
            if mark == "&&":
                return f"(match {a} {{ a__ => if a__ == {on}({number}) {{ a__ }} else {{ {b} }} }})"
            if mark == "||":
                return f"(match {a} {{ a__ => if a__ != {on}({number}) {{ a__ }} else {{ {b} }} }})"
            by = "&" if mark in COMPARISON else ""
            return (f"(match ({by}({a}), {by}({b})) {{ (a__, b__) => if {on}({number}) {{ a__ {known} b__ }} "
                    f"else {{ a__ {mark} b__ }} }})")
        if kind == "compound_assignment_expr":
            left, mark, right = pieces[0], self.words(pieces[1]), pieces[2]
            number = self.site(node, base, mark) if mark in ASSIGNMENT else None
            b = self.rewrite(right, base)
            place = self.words(left)
            if number is None:
                return f"{place} {mark} {b}"
            return (f"(match {b} {{ b__ => if {on}({number}) {{ {place} {ASSIGNMENT[mark]} b__ }} "
                    f"else {{ {place} {mark} b__ }} }})")
        if kind == "unary_expression" and self.words(pieces[0]) in "-!":
            mark = self.words(pieces[0])
            number = self.site(node, base, f"{mark} dropped")
            a = self.rewrite(pieces[1], base)
            return f"{mark}{a}" if number is None else f"(match {a} {{ a__ => if {on}({number}) {{ a__ }} else {{ {mark}a__ }} }})"
        if kind == "call_expression" and node.children[0].type == "field_expression":
            field = node.children[0]
            name = self.words(field.children[-1])
            arguments = [c for c in node.children[1].children if c.is_named]
            if name in ("min", "max") and len(arguments) == 1:
                number = self.site(node, base, name)
                a, b = self.rewrite(field.children[0], base), self.rewrite(arguments[0], base)
                if number is None:
                    return f"{a}.{name}({b})"
                other = "max" if name == "min" else "min"
                return (f"(match ({a}, {b}) {{ (a__, b__) => if {on}({number}) {{ a__.{other}(b__) }} "
                        f"else {{ a__.{name}(b__) }} }})")
        if kind == "float_literal":
            text = self.words(node)
            found = re.fullmatch(r"([0-9_.]+(?:e-?[0-9]+)?)(_?f64)?", text)
            value = float(found[1].replace("_", "")) if found else 0.0
            number = self.site(node, base, "times 1.01") if value else None
            if number is None:
                return text
            return f"(if {on}({number}) {{ {value * 1.01!r}{found[2] or ''} }} else {{ {text} }})"
        return self.children(node, base)

    def macro(self, node, base):
        """The functions in a `wide!` are rewritten, other macros are not."""
        name = self.words(node.children[0])
        if name not in ("wide", "crate::wide"):
            return self.words(node)
        block = node.children[-1] if node.children[-1].type == "token_tree" else node.children[-2]
        inner = block.text[1:-1]
        outer, self.tree = self.tree, inner
        text = self.children(self.parser.parse(inner).root_node, base + block.start_byte + 1)
        self.tree = outer
        return f"{name}! {{\n{text}\n}}"

    def run(self):
        self.tree = self.source
        return self.children(self.parser.parse(self.source).root_node, 0)


def files():
    return [path for folder in FOLDERS for path in sorted((ROOT / "src" / folder).glob("*.rs")) if path.name not in LEFT_OUT]


def cargo(lab, *words):
    command = ["cargo", *words, "--no-default-features", "--message-format=json"]
    return subprocess.run(command, cwd=lab, capture_output=True, text=True)


def messages(built):
    """What cargo said, message by message."""
    return [json.loads(line) for line in built.stdout.splitlines() if line.startswith("{")]


def suites():
    return [word for suite in SUITES for word in ([suite] if suite.startswith("--") else ["--test", suite])]


def make(lab):
    if lab.exists():
        raise SystemExit(f"{lab} is there already")
    shutil.copytree(ROOT, lab, ignore=shutil.ignore_patterns("target", ".git", "artifacts"))
    for path in [*(lab / "src").rglob("*.rs"), *(lab / "tests").rglob("*.rs")]:
        text = path.read_text()
        fewer = re.sub(r"with_cases\((\d+)\)", lambda m: f"with_cases({min(CASES, int(m[1]))})", text)
        if fewer != text:
            path.write_text(fewer)
    lib = lab / "src/lib.rs"
    lines = [line for line in lib.read_text().splitlines() if not re.match(r"#!\[(deny|forbid|warn)", line)]
    lib.write_text("\n".join(lines) + "\n#[doc(hidden)]\npub mod mutant;\n")
    skip = set()
    for turn in range(30):
        sites = []
        for path in files():
            rewriter = Rewriter(path.relative_to(ROOT), skip, len(sites))
            text = rewriter.run()
            (lab / rewriter.path).write_text(text)
            sites += rewriter.sites
        (lab / "src/mutant.rs").write_text(SWITCH % len(sites))
        built = cargo(lab, "check", "--lib")
        wrong = set()
        for message in messages(built):
            if message.get("reason") != "compiler-message" or message["message"]["level"] != "error":
                continue
            for span in message["message"]["spans"]:
                text = (lab / span["file_name"]).read_bytes()
                around = text[max(0, span["byte_start"] - 1):span["byte_end"]]
                # The smallest switch around the place, or those within it.
                numbers = [int(n) for n in re.findall(rb"mutant::on\((\d+)\)", around)]
                if not numbers:
                    before = re.findall(rb"mutant::on\((\d+)\)", text[:span["byte_end"] + 80])
                    numbers = [int(before[-1])] if before else []
                wrong |= set(numbers[:1] if span["is_primary"] else [])
        print(f"turn {turn}: {len(sites)} changes, {len(wrong)} do not compile", flush=True)
        if not wrong and built.returncode:
            raise SystemExit(f"does not compile for another reason; run cargo check --lib in {lab}")
        if not wrong:
            break
        skip |= {sites[n]["key"] for n in wrong}
    built = cargo(lab, "test", "--no-run", *suites())
    if built.returncode:
        raise SystemExit(built.stderr[-3000:])
    binaries = [m["executable"] for m in messages(built)
                if m.get("reason") == "compiler-artifact" and m.get("executable") and m["profile"]["test"]]
    tests = reach(lab, binaries)
    (lab / "mutants.json").write_text(json.dumps({"sites": sites, "tests": tests, "left_out": len(skip)}))


def run_test(lab, test, change, limit):
    """True when it passes."""
    environment = dict(os.environ, YEARLIGHT_MUTANT=str(change), RUST_BACKTRACE="0")
    environment.pop("YEARLIGHT_MUTANT_TRACE", None)
    command = ["nice", "-n", "8", test["binary"], *test["names"], "--exact", "--test-threads=1", "-q"]
    child = subprocess.Popen(command, cwd=lab, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
                             start_new_session=True)
    try:
        return child.wait(limit) == 0
    except subprocess.TimeoutExpired:
        os.killpg(child.pid, 9)
        child.wait()
        return False


def reach(lab, binaries):
    """Each test with its time and the changes that it comes past."""
    tests = []
    for binary in binaries:
        names = subprocess.run([binary, "--list", "--format=terse"], cwd=lab, capture_output=True, text=True).stdout
        for name in re.findall(r"^(.*): test$", names, re.M):
            trace = lab / "trace.txt"
            trace.unlink(missing_ok=True)
            environment = dict(os.environ, YEARLIGHT_MUTANT_TRACE=str(trace))
            begun = time.monotonic()
            done = subprocess.run([binary, name, "--exact", "--test-threads=1", "-q"], cwd=lab, env=environment,
                                  capture_output=True)
            seconds = time.monotonic() - begun
            if done.returncode:
                print(f"{name} fails unchanged; left out")
                continue
            passed = sorted({int(n) for n in trace.read_text().split()}) if trace.exists() else []
            tests.append({"binary": binary, "names": [name], "seconds": seconds, "passed": passed})
    print(f"{len(tests)} tests, {sum(t['seconds'] for t in tests):.0f} s")
    return tests


def batches(tests, folder, wins, runs, budget):
    """The tests of a change as far as the time goes: those first that failed most often for their seconds at changes of the
    same file; at the start the second version and the tests beside the code; short neighbours of one binary in one
    process."""
    def worth(test):
        name = test["names"][0]
        hope = 3 if "/plain-" in test["binary"] else 1 if name.startswith(f"{folder}::") else 0.3
        return (wins[name] + hope) / (runs[name] + 3) / (test["seconds"] + 0.03)

    groups = []
    for test in sorted(tests, key=worth, reverse=True):
        if test["seconds"] > budget:
            continue
        budget -= test["seconds"]
        last = groups[-1] if groups else None
        if last and last["binary"] == test["binary"] and last["seconds"] + test["seconds"] < 0.15:
            last["names"] = last["names"] + test["names"]
            last["seconds"] += test["seconds"]
        else:
            groups.append(dict(test))
    return groups


def attempt(lab, minutes, workers, only, budget):
    known = json.loads((lab / "mutants.json").read_text())
    results_file = lab / "results.json"
    results = json.loads(results_file.read_text()) if results_file.exists() else {}
    by_change = collections.defaultdict(list)
    for test in known["tests"]:
        for change in test["passed"]:
            by_change[change].append(test)

    def open_still(key):
        """Not tried, or survived a smaller budget."""
        result = results.get(key)
        return result is None or result["killed_by"] is None and result["tests"] and result["budget"] < budget

    wanted = [s for s in known["sites"] if open_still(s["key"]) and (not only or re.search(only, s["key"]))]
    random.Random(1).shuffle(wanted)
    # Taken from the end: literals, of which most only move a search, come last.
    wanted.sort(key=lambda site: not site["key"].endswith("1.01"))
    end, lock = time.monotonic() + 60 * minutes, threading.Lock()
    wins, runs = collections.defaultdict(collections.Counter), collections.defaultdict(collections.Counter)
    for key, result in results.items():
        if result["killed_by"]:
            wins[key.split(":")[0]][result["killed_by"]] += 1
            runs[key.split(":")[0]][result["killed_by"]] += 1

    def work():
        while time.monotonic() < end:
            with lock:
                if not wanted:
                    return
                site = wanted.pop()
            tests, file = by_change[site["id"]], site["key"].split(":")[0]
            killer = None
            with lock:
                order = batches(tests, file.split("/")[1], wins[file], runs[file], budget)
            for test in order:
                runs[file].update(test["names"])
                if not run_test(lab, test, site["id"], 10 * test["seconds"] + 4):
                    killer = test["names"]
                    break
            with lock:
                for name in killer or []:
                    wins[file][name] += 1 / len(killer)
                results[site["key"]] = {"killed_by": killer and killer[0], "tests": len(tests), "budget": budget}
                if len(results) % 20 == 0 or killer is None:
                    results_file.write_text(json.dumps(results))
                    print(f"{len(results)} tried, {len(wanted)} left, "
                          f"{sum(r['killed_by'] is None for r in results.values())} survived", flush=True)

    threads = [threading.Thread(target=work) for _ in range(workers)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    results_file.write_text(json.dumps(results))


def tell(lab):
    known = json.loads((lab / "mutants.json").read_text())
    results = json.loads((lab / "results.json").read_text())
    folders = collections.defaultdict(lambda: [0, 0, 0])
    for site in known["sites"]:
        result = results.get(site["key"])
        folder = site["key"].split("/")[1]
        folders[folder][0] += result is not None
        folders[folder][1] += result is not None and result["killed_by"] is not None
        folders[folder][2] += 1
        if result and result["killed_by"] is None:
            file = site["key"].split(":")[0]
            reached = "" if result["tests"] else "  [no test comes past it]"
            print(f"{file}:{site['line']}: {site['what']}: {site['text']}{reached}")
    for folder, (tried, killed, count) in folders.items():
        print(f"{folder}: {count} changes, {tried} tried, {killed} killed, {tried - killed} survived")


def main():
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("what", choices=["make", "try", "tell"])
    ask.add_argument("lab", type=Path, help="a folder outside the tree")
    ask.add_argument("--minutes", type=float, default=60)
    ask.add_argument("--workers", type=int, default=2)
    ask.add_argument("--budget", type=float, default=5, help="seconds of tests for a change")
    ask.add_argument("--only", help="a pattern for path:bytes:change")
    given = ask.parse_args()
    lab = given.lab.resolve()
    if given.what == "make":
        make(lab)
    elif given.what == "try":
        attempt(lab, given.minutes, given.workers, given.only, given.budget)
    else:
        tell(lab)


main()
