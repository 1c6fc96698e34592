"use strict";
// The report's only script. Every text of the record enters the page as a text node, never as markup; nothing is
// ever fetched. The record stands, packed, in the JSON block beside this script.
(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const plan = data.plan;
  const PRIORITIES = ["immediate", "planned", "advisory"];
  const MEANS = {
    immediate: "act today: people could be hurt or trapped, or someone without a right to enter can get in",
    planned: "put right before the next review",
    advisory: "worth checking",
  };
  const DECISIONS = {
    revoke: ["Revoke", "the card, PIN or permission will be taken away"],
    correct: ["Correct", "the register or the door will be put right"],
    keep: ["Keep", "accepted as it is, until a date"],
    later: ["Later", "will be dealt with by a date"],
  };
  const COLUMNS = ["finding_id", "decision", "reason", "decided_by", "decided_on", "until", "document", "competent_person"];
  const PAGE = 40;
  const ROLL_PAGE = 50;
  const SHORT_LIST = 12;
  const FIRST_ACTIONS = 5;

  // ---- words ----------------------------------------------------------------------------------------------------
  // Controls and direction overrides are written out, so that no name can turn or hide what follows it.
  const UNSEEN = new RegExp("[\\u0000-\\u0008\\u000b\\u000c\\u000e-\\u001f\\u007f-\\u009f\\u2028\\u2029\\u202a-\\u202e" +
    "\\u2066-\\u2069\\ufeff\\ufff9-\\uffff]|[\\ud800-\\udbff](?![\\udc00-\\udfff])|(?<![\\ud800-\\udbff])[\\udc00-\\udfff]", "g");
  const visible = (text) => String(text).replace(UNSEEN,
    (found) => "[U+" + found.charCodeAt(0).toString(16).toUpperCase().padStart(4, "0") + "]");
  const sentence = (name) => {
    const text = visible(name).replace(/[-_]/g, " ").replace(/\bpins?\b/g, (pin) => "PIN" + pin.slice(3));
    return text.charAt(0).toUpperCase() + text.slice(1);
  };
  const title = (rule) => visible((plan.rules[rule] || {}).title || sentence(rule));
  const isLifeSafety = (rule) => Boolean((plan.rules[rule] || {}).life_safety);
  const many = (count, one, more = one + "s") => `${count.toLocaleString("en-GB")} ${count === 1 ? one : more}`;
  const MONTHS = ["January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
    "November", "December"];
  const date = (iso) => {
    const found = /^(\d{4})-(\d\d)-(\d\d)$/.exec(iso || "");
    return found ? `${Number(found[3])} ${MONTHS[Number(found[2]) - 1]} ${found[1]}` : visible(iso || "no date");
  };
  const capital = (text) => { const shown = visible(text); return shown.charAt(0).toUpperCase() + shown.slice(1); };
  const listed = (texts) => texts.length < 2 ? texts.join("") : texts.slice(0, -1).join(", ") + " and " + texts.at(-1);

  // ---- the page, node by node --------------------------------------------------------------------------------------
  const put = (node, parts) => {
    for (const part of parts.flat(Infinity)) {
      if (part === null || part === undefined || part === false) continue;
      node.append(part instanceof Node ? part : document.createTextNode(String(part)));
    }
    return node;
  };
  const h = (name, facts, ...parts) => {
    const node = document.createElement(name);
    for (const [key, value] of Object.entries(facts || {})) {
      if (value === null || value === undefined || value === false) continue;
      if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
      else if (key === "class") node.className = value;
      else if (key === "value" || key === "checked") node[key] = value;
      else node.setAttribute(key, value === true ? "" : value);
    }
    return put(node, parts);
  };
  // A link into the findings that sets the filter on the way.
  const go = (wanted, parts, facts) => h("a", { href: "#findings", ...facts, onclick: (event) => {
    event.preventDefault();
    only(wanted);
  } }, parts);
  let fields = 0;
  const field = (said, control, ...more) => {
    control.id ||= `field-${fields += 1}`;
    return h("div", { class: "field" }, h("label", { for: control.id }, said), control, more);
  };
  const at = (id) => document.getElementById(id);
  // A text of the record: its own direction, its controls written out.
  const told = (text) => h("bdi", {}, visible(text));
  const mark = (priority) => h("span", { class: `mark ${PRIORITIES.includes(priority) ? priority : ""}` }, sentence(priority));
  const table = (caption, heads, rows) => h("div", { class: "scroll", tabindex: "0", role: "group", "aria-label": caption },
    h("table", {}, h("caption", { class: "spoken" }, caption),
      h("thead", {}, h("tr", {}, heads.map((head) => h("th", { scope: "col", class: head.number ? "number" : null }, head.text || head)))),
      h("tbody", {}, rows)));
  const row = (heads, cells) => h("tr", {}, cells.map((cell, place) => place === 0
    ? h("th", { scope: "row" }, cell)
    : h("td", { class: heads[place].number ? "number" : heads[place].digest ? "digest" : null }, cell)));

  // ---- the findings ------------------------------------------------------------------------------------------------
  const text = (place) => data.texts[place];
  const nameOf = (kind, id) => (plan.names[kind] || {})[id] || "";
  const NAME_KINDS = { people: "person", pins: "pin", cards: "card", doors: "door", stations: "station", permissions: "permission",
    door_groups: "door_group" };
  const label = (key, id) => {
    const name = nameOf(NAME_KINDS[key] || key, id);
    return name && name !== id ? `${id} (${name})` : id;
  };
  const placeNames = new Map(data.places.map((place) => [place.id, place.name]));
  const parents = new Map(data.places.map((place) => [place.id, place.parent]));
  const placesOf = (id) => {
    const found = new Set();
    for (let place of plan.where[id] || []) {
      while (place !== null && place !== undefined && placeNames.has(place) && !found.has(place)) {
        found.add(place);
        place = parents.get(place);
      }
    }
    return found;
  };
  const findings = data.findings.map((packed, order) => {
    const [id, rule, priority, life_safety, subjects, sources, summary, why, remedy, evidence, references, change, decision] = packed;
    const people = [...(subjects.person || []), ...(subjects.people || [])];
    const doors = [...(subjects.door || []), ...(subjects.doors || [])];
    return {
      order, id, rule: text(rule), priority: PRIORITIES[priority], life_safety: Boolean(life_safety), subjects, sources, summary,
      why: text(why), remedy: text(remedy), evidence, references: references.map(text), change, decision,
      people, doors, places: placesOf(id), hay: null,
      file: sources.length ? text(sources[0][0]) : "", row: sources.length ? sources[0][2] : 0,
    };
  });
  const byId = new Map(findings.map((finding) => [finding.id, finding]));
  const hay = (finding) => finding.hay ??= [finding.id, finding.rule, title(finding.rule), finding.summary, finding.remedy,
    Object.entries(finding.subjects).map(([key, ids]) => ids.map((id) => label(key, id)).join(" ")).join(" "),
    finding.sources.map((source) => `${text(source[0])} ${source[1] === null ? "" : text(source[1])} row ${source[2] === null ? "" : source[2]}`).join(" "),
    [...finding.places].map((place) => placeNames.get(place)).join(" "),
    JSON.stringify(finding.evidence)].join(" ").toLowerCase();
  const inForce = (finding) => finding.decision && finding.decision.state === "in force";
  const isOpen = (finding) => !(inForce(finding) && finding.decision.decision === "keep");
  const lapsed = (finding) => Boolean(finding.decision && finding.decision.state === "lapsed");

  // ---- decisions: drafts survive a reload where the browser lets us keep them --------------------------------------
  // drafts belong to one site and one review, never to a name that two sites may share
  const SITE = data.site.id || data.site.name;
  const KEY = `door-audit decisions 2 | ${SITE} | ${data.as_of}`;
  let drafts = {};
  let reviewer = "";
  let keeps = true;
  let unsaved = false;
  try {
    const kept = JSON.parse(localStorage.getItem(KEY) || "{}");
    if (kept && typeof kept === "object") {
      reviewer = typeof kept.reviewer === "string" ? kept.reviewer : "";
      for (const [id, draft] of Object.entries(kept.drafts || {})) {
        if (draft && typeof draft === "object") {
          drafts[id] = Object.fromEntries(COLUMNS.slice(1).map((column) => [column, typeof draft[column] === "string" ? draft[column] : ""]));
          if (draft.withdrawn === true) drafts[id].withdrawn = true;
        }
      }
      unsaved = kept.unsaved === true;
    }
  } catch { keeps = false; }
  // Decisions on findings that could not be looked at again: carried along, so that they are there when it can.
  const unseenIds = new Set(data.not_reassessed.map((one) => one.id));
  const carried = () => Object.keys(drafts).filter((id) => unseenIds.has(id) && !lacking(drafts[id], false).length);
  const keep = () => {
    try {
      localStorage.setItem(KEY, JSON.stringify({ reviewer, drafts, unsaved }));
      keeps = true;
    } catch { keeps = false; }
  };
  keep();
  // The same report in two windows: the latest word counts in both.
  addEventListener("storage", (event) => {
    if (event.key !== KEY || !event.newValue) return;
    try { drafts = JSON.parse(event.newValue).drafts || {}; } catch { return; }
    for (const finding of findings) refresh(finding);
    showDecisions();
  });
  addEventListener("beforeunload", (event) => { if (!keeps && unsaved) event.preventDefault(); });

  const today = () => {
    const now = new Date();
    return `${now.getFullYear()}-${String(now.getMonth() + 1).padStart(2, "0")}-${String(now.getDate()).padStart(2, "0")}`;
  };
  const aYearAfter = (iso) => {
    const [year, month, day] = iso.split("-").map(Number);
    const last = new Date(Date.UTC(year + 1, month, 0)).getUTCDate();
    return `${String(year + 1).padStart(4, "0")}-${String(month).padStart(2, "0")}-${String(Math.min(day, last)).padStart(2, "0")}`;
  };
  const isDate = (iso) => {
    if (!/^\d{4}-\d\d-\d\d$/.test(iso)) return false;
    const day = new Date(iso + "T00:00:00Z");
    return !Number.isNaN(day.getTime()) && day.toISOString().slice(0, 10) === iso;
  };
  // What a decision still needs, in the order of the form; empty when the next run can take it.
  const lacking = (draft, life_safety) => {
    if (!draft || !DECISIONS[draft.decision]) return ["a decision"];
    if (!["keep", "later"].includes(draft.decision)) return [];
    const needs = [];
    const start = isDate(draft.decided_on) ? draft.decided_on : today();
    if (!draft.reason.trim()) needs.push("a reason");
    if (!draft.decided_by.trim()) needs.push("your name");
    if (!isDate(draft.until)) needs.push("a date");
    else if (draft.until > aYearAfter(start)) needs.push(`a date no later than ${date(aYearAfter(start))}`);
    else if (draft.until < start) needs.push("a date that is still to come");
    if (life_safety && !draft.competent_person.trim()) needs.push("the competent person's name");
    if (life_safety && !draft.document.trim()) needs.push("a reference to their document");
    return needs;
  };
  const standing = (finding) => {
    const draft = drafts[finding.id];
    if (draft && draft.withdrawn) return "open";
    if (draft) return lacking(draft, finding.life_safety).length ? "incomplete" : "decided";
    if (lapsed(finding)) return "lapsed";
    return finding.decision ? "before" : "open";
  };
  const decisionWords = (decision) => decision.decision + (["keep", "later"].includes(decision.decision) && decision.until
    ? ` until ${date(decision.until)}` : "");
  const chip = (finding) => {
    const where = standing(finding);
    if (where === "decided") return h("span", { class: "chip done" }, "decided: ", decisionWords(drafts[finding.id]));
    if (where === "incomplete") return h("span", { class: "chip lacking" }, "decision incomplete");
    if (where === "lapsed") return h("span", { class: "chip lacking" }, `decision ended on ${date(finding.decision.until)}: open again`);
    if (where === "before") return h("span", { class: "chip done" }, "decided before: ", decisionWords(finding.decision));
    return null;
  };

  // ---- the filter ---------------------------------------------------------------------------------------------------
  const blank = () => ({ words: "", priorities: new Set(PRIORITIES), place: "", person: "", door: "", rule: "", change: "", decision: "",
    remedy: null, group: "remedy", page: 0 });
  let filter = blank();
  let shown = findings;
  const picks = (key, typed) => {
    const wanted = typed.trim().toLowerCase();
    if (!wanted) return null;
    const exact = findings.some((finding) => finding[key === "person" ? "people" : "doors"].some((id) => label(key, id).toLowerCase() === wanted));
    return (finding) => finding[key === "person" ? "people" : "doors"].some((id) => {
      const name = label(key, id).toLowerCase();
      return exact ? name === wanted : name.includes(wanted);
    });
  };
  const NOWHERE = "\u0000";
  const sift = (without) => {
    const words = filter.words.toLowerCase().split(/\s+/).filter(Boolean);
    const person = picks("person", filter.person);
    const door = picks("door", filter.door);
    return findings.filter((finding) =>
      (without === "priority" || filter.priorities.has(finding.priority)) &&
      (!filter.rule || finding.rule === filter.rule) &&
      (filter.remedy === null || finding.remedy === filter.remedy) &&
      (!filter.change || finding.change === filter.change) &&
      (!filter.place || (filter.place === NOWHERE ? finding.places.size === 0 : finding.places.has(filter.place))) &&
      (!filter.decision || standing(finding) === filter.decision) &&
      (!person || person(finding)) && (!door || door(finding)) &&
      words.every((word) => hay(finding).includes(word)));
  };
  const GROUPS = {
    remedy: ["what mends it", (finding) => [finding.remedy]],
    priority: ["priority", (finding) => [finding.priority]],
    rule: ["rule", (finding) => [finding.rule]],
    place: ["place", (finding) => finding.places.size ? (plan.where[finding.id] || []).filter((place) => placeNames.has(place)).slice(0, 1) : [NOWHERE]],
    door: ["door", (finding) => [finding.doors[0] ?? NOWHERE]],
    person: ["person", (finding) => [finding.people[0] ?? NOWHERE]],
  };
  const placePath = (place) => {
    const names = [];
    const seen = new Set();
    for (let here = place; placeNames.has(here) && !seen.has(here); here = parents.get(here)) {
      seen.add(here);
      names.unshift(visible(placeNames.get(here)));
    }
    return names.join(", ");
  };
  const groupTitle = (kind, key) => {
    if (key === NOWHERE) return { place: "The site as a whole", door: "No single door", person: "No single person" }[kind];
    if (kind === "priority") return sentence(key);
    if (kind === "rule") return title(key);
    if (kind === "place") return placePath(key);
    if (kind === "door" || kind === "person") return visible(label(kind, key));
    return visible(key);
  };
  // Gravest first, life safety before the rest, many before few; within, down the rows of the file.
  const downTheFile = (a, b) => PRIORITIES.indexOf(a.priority) - PRIORITIES.indexOf(b.priority) || b.life_safety - a.life_safety
    || (a.file < b.file ? -1 : a.file > b.file ? 1 : 0) || a.row - b.row || a.order - b.order;
  const grouped = (some, kind) => {
    const groups = new Map();
    for (const finding of some) {
      const key = GROUPS[kind][1](finding)[0];
      if (!groups.has(key)) groups.set(key, []);
      groups.get(key).push(finding);
    }
    for (const members of groups.values()) members.sort(downTheFile);
    const rank = ([key, members]) => [
      key === NOWHERE ? 1 : 0,
      Math.min(...new Set(members.map((finding) => PRIORITIES.indexOf(finding.priority)))),
      members.some((finding) => finding.life_safety) ? 0 : 1,
      -members.length, members[0].order];
    return [...groups].map((group) => [rank(group), group]).sort(([a], [b]) => {
      for (let place = 0; place < a.length; place += 1) if (a[place] !== b[place]) return a[place] - b[place];
      return 0;
    }).map(([, group]) => group);
  };

  // ---- one finding --------------------------------------------------------------------------------------------------
  const sourceWords = (source) => visible(text(source[0])) + (source[1] === null ? "" : `, sheet ${visible(text(source[1]))}`) + (source[2] === null ? "" : `, row ${source[2]}`);
  const value = (given) => {
    if (given === null || given === undefined || given === "") return h("span", { class: "quiet" }, "not given");
    if (given === true || given === false) return given ? "yes" : "no";
    if (Array.isArray(given)) return listOf(given.map(value), "none");
    if (typeof given === "object") return told(Object.entries(given).map(([key, one]) => `${sentence(key)}: ${typeof one === "object" ? JSON.stringify(one) : one}`).join("; "));
    if (typeof given === "string" && /^\d{4}-\d\d-\d\d$/.test(given)) return date(given);
    return told(given);
  };
  const listOf = (nodes, none) => {
    if (!nodes.length) return none;
    const spread = (some) => some.map((node, place) => [place ? ", " : "", node]);
    if (nodes.length <= SHORT_LIST + 2) return spread(nodes);
    const rest = h("span", { hidden: true }, ", ", spread(nodes.slice(SHORT_LIST)));
    const more = h("button", { type: "button", class: "plain", "aria-expanded": "false", onclick: () => {
      rest.hidden = false;
      more.remove();
    } }, `and ${nodes.length - SHORT_LIST} more`);
    return [spread(nodes.slice(0, SHORT_LIST)), rest, " ", more];
  };
  const facts = (pairs) => h("dl", { class: "facts" }, pairs.map(([name, what]) => h("div", {}, h("dt", {}, name), h("dd", {}, what))));

  const reading = (finding) => h("div", { class: "reading" },
    h("h4", {}, "Why it matters"), h("p", { class: "why" }, told(finding.why)),
    h("h4", {}, "What to do"), h("p", {}, told(finding.remedy)),
    finding.references.length ? [h("h4", {}, "Where this comes from"),
      h("ul", { class: "lines" }, finding.references.map((one) => h("li", {}, told(one))))] : null);
  const evidence = (finding) => h("div", {},
    h("h4", {}, "Concerns"),
    facts(Object.entries(finding.subjects).map(([key, ids]) => [sentence(key), listOf(ids.map((id) => told(label(key, id))), "none")])),
    finding.places.size ? facts([["Place", listOf((plan.where[finding.id] || []).filter((place) => placeNames.has(place)).map((place) => told(placePath(place))), "")]]) : null,
    Object.keys(finding.evidence).length ? [h("h4", {}, "Evidence"), facts(Object.entries(finding.evidence).map(([key, one]) => [told(sentence(key)), value(one)]))] : null,
    h("h4", {}, "Stands in"),
    finding.sources.length ? h("ul", { class: "lines bare" }, finding.sources.slice(0, SHORT_LIST).map((source) => h("li", {}, told(sourceWords(source)))),
      finding.sources.length > SHORT_LIST ? h("li", {}, `and ${finding.sources.length - SHORT_LIST} rows more, in findings.json`) : null)
      : h("p", { class: "quiet" }, "no single row"),
    h("p", { class: "idline" }, "Rule ", h("code", {}, visible(finding.rule)), ", finding ", h("code", {}, visible(finding.id))));

  let forms = 0;
  // The form of a decision. `draft` is changed in place, `changed` called after each change.
  const decisionForm = (draft, life_safety, heading, changed, extra) => {
    const name = `d${forms += 1}`;
    const status = h("p", { role: "status" });
    const document_ = field("Document this rests on: title and date",
      h("input", { type: "text", value: draft.document, oninput: (event) => set("document", event.target.value) }));
    document_.classList.add("wide");
    const competent = field("Competent person's name",
      h("input", { type: "text", value: draft.competent_person, oninput: (event) => set("competent_person", event.target.value) }));
    const until = h("input", { type: "date", value: draft.until, min: today(), max: aYearAfter(draft.decided_on || today()),
      oninput: (event) => set("until", event.target.value) });
    const untilField = field("Until (a year ahead at most)", until);
    const reason = field("Reason", h("textarea", { rows: "2", value: draft.reason, oninput: (event) => set("reason", event.target.value) }));
    reason.classList.add("wide");
    const clear = h("button", { type: "button", class: "plain", onclick: () => set("decision", "", true) }, "Clear this decision");
    const show = () => {
      const needs = lacking(draft, life_safety);
      const dated = ["keep", "later"].includes(draft.decision);
      untilField.hidden = !dated;
      document_.hidden = competent.hidden = !(life_safety && dated);
      clear.hidden = !draft.decision && !draft.reason;
      status.className = needs.length ? "lacking-words" : "ready-words";
      status.textContent = !draft.decision ? "" : needs.length ? `Still needed: ${listed(needs)}.` : `Complete: ${decisionWords(draft)}.`;
    };
    const set = (column, given, cleared) => {
      if (cleared) for (const one of COLUMNS.slice(1)) draft[one] = "";
      else draft[column] = given;
      if (draft.decision && !draft.decided_on) draft.decided_on = today();
      if (draft.decision && !draft.decided_by && reviewer && column === "decision") by.value = draft.decided_by = reviewer;
      if (column === "decided_by") reviewer = given;
      if (cleared) {
        for (const radio of form.querySelectorAll("input[type=radio]")) radio.checked = false;
        for (const field of form.querySelectorAll("input:not([type=radio]), textarea")) field.value = "";
      }
      delete draft.withdrawn;
      show();
      changed(Boolean(cleared));
    };
    const by = h("input", { type: "text", value: draft.decided_by, autocomplete: "name", oninput: (event) => set("decided_by", event.target.value) });
    const form = h("form", { class: "decide", onsubmit: (event) => event.preventDefault() },
      h("fieldset", {}, h("legend", { class: "spoken" }, heading), h("h4", { "aria-hidden": "true" }, heading), extra || null,
        h("div", { class: "choices" }, Object.entries(DECISIONS).map(([word, [said, means]]) => h("label", {},
          h("input", { type: "radio", name, value: word, checked: draft.decision === word, onchange: () => set("decision", word) }),
          h("span", {}, h("b", {}, said), " ", h("span", { class: "quiet" }, means)))))),
      h("div", { class: "decide-fields" },
        reason, field("Decided by", by), untilField, competent, document_),
      h("div", { class: "decide-foot" }, status, clear));
    show();
    return form;
  };
  const newDraft = (decision) => Object.fromEntries(COLUMNS.slice(1).map((column) => [column, (decision && decision[column]) || ""]));
  const refresh = (finding) => {
    const old = at(`chip-${finding.id}`);
    if (old) old.replaceChildren(...[chip(finding)].filter(Boolean));
  };
  const decide = (finding) => {
    const place = h("div", {});
    const given = finding.decision;
    const build = () => {
      const draft = drafts[finding.id];
      if (!draft && given) {
        place.replaceChildren(h("div", { class: "decide" }, h("h4", {}, lapsed(finding) ? "A decision has ended" : "Decided at an earlier review"),
          h("p", { class: "said" }, sentence(decisionWords(given)), ", decided ", given.decided_on ? `on ${date(given.decided_on)} ` : "", "by ", told(given.decided_by || "nobody named"), ". ",
            given.reason ? ["Reason: ", told(given.reason), ". "] : null, given.document ? ["Document: ", told(given.document), "."] : null),
          h("div", { class: "buttons" }, h("button", { type: "button", onclick: () => {
            drafts[finding.id] = lapsed(finding) ? newDraft(null) : { ...newDraft(given), decided_on: today() };
            note(finding);
            build();
            const first = place.querySelector("input:checked") || place.querySelector("input");
            first.focus();
          } }, lapsed(finding) ? "Decide again" : "Decide anew"),
          lapsed(finding) ? null : h("button", { type: "button", onclick: () => {
            drafts[finding.id] = { ...newDraft(null), withdrawn: true };
            note(finding);
            build();
            place.querySelector("button").focus();
          } }, "Withdraw it"))));
        return;
      }
      if (draft && draft.withdrawn) {
        place.replaceChildren(h("div", { class: "decide" }, h("h4", {}, "The earlier decision is withdrawn"),
          h("p", { class: "said" }, "It will not be in the saved file, and the finding is open at the next run."),
          h("button", { type: "button", onclick: () => {
            delete drafts[finding.id];
            note(finding);
            build();
            place.querySelector("button").focus();
          } }, "Take that back")));
        return;
      }
      const mine = draft || newDraft(null);
      place.replaceChildren(decisionForm(mine, finding.life_safety, "Your decision", (cleared) => {
        const empty = !COLUMNS.slice(1).some((column) => mine[column] && column !== "decided_on" && column !== "decided_by");
        if (empty) delete drafts[finding.id];
        else drafts[finding.id] = mine;
        note(finding);
        if (cleared && given) {
          build();
          place.querySelector("button").focus();
        }
      }, finding.life_safety ? h("p", { class: "said quiet" }, "This is about life safety: it can be kept only on the word of a competent person, named, with a document.") : null));
    };
    build();
    place.className = "decide-place";
    return place;
  };
  const note = (finding) => {
    unsaved = true;
    keep();
    refresh(finding);
    showDecisions();
  };
  const item = (finding) => {
    const details = h("details", { ontoggle: () => {
      if (details.open && details.children.length === 1) details.append(h("div", { class: "body" }, reading(finding), evidence(finding), wide(decide(finding))));
    } }, h("summary", {}, mark(finding.priority), h("span", { class: "what" }, told(finding.summary)),
      h("span", { class: "meta" },
        finding.life_safety ? h("span", { class: "chip safety" }, "life safety") : null,
        filter.group === "rule" ? null : h("span", {}, title(finding.rule)),
        finding.sources.length ? h("span", {}, told(sourceWords(finding.sources[0])), finding.sources.length > 1 ? ` and ${finding.sources.length - 1} more` : "") : null,
        finding.change ? h("span", {}, { new: "new", standing: "stood before", returned: "has come back" }[finding.change] || visible(finding.change)) : null,
        h("span", { id: `chip-${finding.id}` }, chip(finding)))));
    return h("li", { class: "finding", id: `f-${finding.id}` }, details);
  };
  const wide = (node) => {
    const holder = h("div", { class: "wide" }, node);
    holder.style.gridColumn = "1 / -1";
    return holder;
  };

  // ---- the list -----------------------------------------------------------------------------------------------------
  let ordered = [];
  const resift = () => {
    shown = sift();
    ordered = grouped(shown, filter.group);
    filter.page = 0;
    draw();
  };
  const pages = () => Math.max(1, Math.ceil(shown.length / PAGE));
  const draw = () => {
    const list = at("list");
    const start = filter.page * PAGE;
    const stop = Math.min(start + PAGE, shown.length);
    const parts = [];
    let passed = 0;
    for (const [key, members] of ordered) {
      const from = Math.max(start - passed, 0);
      const to = Math.min(stop - passed, members.length);
      if (from < to) parts.push(group(key, members, from, to));
      passed += members.length;
      if (passed >= stop) break;
    }
    if (!findings.length) {
      const none = data.outcomes.some((outcome) => outcome.state === "assessed" || outcome.state === "partly")
        ? "Nothing was found in what was looked at." : "Nothing could be looked at, so nothing was found.";
      parts.push(h("p", {}, none, " ", h("a", { href: "#coverage" }, "What was looked at, and what was not")));
    } else if (!shown.length) parts.push(h("p", {}, "No finding fits this filter. "));
    list.replaceChildren(...parts);
    const filtered = shown.length !== findings.length;
    at("status").textContent = !findings.length ? "" : !shown.length ? `None of ${findings.length.toLocaleString("en-GB")} findings.`
      : (filtered ? `${shown.length.toLocaleString("en-GB")} of ${many(findings.length, "finding")}` : many(findings.length, "finding"))
        + (pages() > 1 ? `, ${(start + 1).toLocaleString("en-GB")} to ${stop.toLocaleString("en-GB")} shown` : "")
        + (filter.remedy === null ? "" : ", all mended in one way") + ".";
    const fresh = blank();
    at("reset").hidden = !(filtered || filter.remedy !== null || Object.keys(fresh).some((key) => typeof fresh[key] === "string" && key !== "group" && filter[key] !== fresh[key]));
    drawPager();
    countPriorities();
  };
  const group = (key, members, from, to) => {
    const kind = filter.group;
    const counts = PRIORITIES.map((word) => [word, members.filter((finding) => finding.priority === word).length]).filter(([, count]) => count);
    const rules = kind === "remedy" ? [...new Set(members.map((finding) => title(finding.rule)))] : [];
    const head = h("div", { class: "group-head" },
      h("div", {}, h("h3", {}, told(groupTitle(kind, key)), from ? h("span", { class: "quiet" }, " (continued)") : null),
        members.length > 1 ? h("p", {}, many(members.length, "finding"), counts.length > 1 ? `: ${listed(counts.map(([word, count]) => `${count} ${word}`))}` : "",
          rules.length ? ` · ${rules.slice(0, 3).join("; ")}${rules.length > 3 ? " …" : ""}` : "") : null),
      members.length > 1 && (kind === "remedy" || kind === "rule") ? h("button", { type: "button", onclick: () => openBulk(groupTitle(kind, key), members) },
        `Decide all ${members.length.toLocaleString("en-GB")}…`, h("span", { class: "spoken" }, ` of: ${groupTitle(kind, key)}`)) : null);
    return h("div", { class: "group" }, head, h("ul", { class: "rows" }, members.slice(from, to).map(item)));
  };
  const drawPager = () => {
    const last = pages() - 1;
    if (!last) return at("pager").replaceChildren();
    const turn = (page) => {
      filter.page = page;
      draw();
      at("findings-title").focus();
      at("findings-title").scrollIntoView();
    };
    const button = (said, page, off) => h("button", { type: "button", disabled: off, onclick: () => turn(page) }, said);
    const chosen = h("select", { "aria-label": "Page", onchange: (event) => turn(Number(event.target.value)) },
      Array.from({ length: last + 1 }, (_, page) => h("option", { value: String(page), selected: page === filter.page }, `Page ${page + 1}`)));
    chosen.style.width = "auto";
    return at("pager").replaceChildren(button("Earlier findings", filter.page - 1, filter.page === 0), chosen, h("p", {}, `of ${last + 1}`),
      button("Further findings", filter.page + 1, filter.page === last));
  };
  const countPriorities = () => {
    const some = sift("priority");
    for (const word of PRIORITIES) {
      const place = at(`count-${word}`);
      if (place) place.textContent = some.filter((finding) => finding.priority === word).length.toLocaleString("en-GB");
    }
  };

  // ---- the filter's form --------------------------------------------------------------------------------------------
  const counted = (key) => {
    const counts = new Map();
    for (const finding of findings) for (const one of key(finding)) counts.set(one, (counts.get(one) || 0) + 1);
    return counts;
  };
  const choose = (key, said, options, all) => options.length < (key === "group" ? 1 : 2) && key !== "decision" ? null : field(said,
    h("select", { id: `filter-${key}`, onchange: (event) => {
      filter[key] = event.target.value;
      resift();
    } }, all ? h("option", { value: "" }, all) : null, options.map(([word, shownAs]) => h("option", { value: word }, shownAs))));
  const suggest = (key, said) => {
    const counts = counted((finding) => new Set(finding[key === "person" ? "people" : "doors"]));
    if (!counts.size) return null;
    const options = [...counts.keys()].map((id) => visible(label(key, id))).sort((a, b) => a < b ? -1 : a > b ? 1 : 0);
    return field(said, h("input", { type: "text", id: `filter-${key}`, list: `known-${key}`, autocomplete: "off", placeholder: "name or number", oninput: (event) => {
      filter[key] = event.target.value;
      resift();
    } }), h("datalist", { id: `known-${key}` }, options.map((one) => h("option", { value: one }))));
  };
  const buildFilters = () => {
    const form = at("filters");
    if (!findings.length) {
      form.hidden = true;
      return;
    }
    const rules = [...counted((finding) => [finding.rule])].map(([rule, count]) => [rule, `${title(rule)} (${count})`]).sort((a, b) => a[1] < b[1] ? -1 : 1);
    const atPlace = counted((finding) => finding.places);
    const placeless = findings.filter((finding) => !finding.places.size).length;
    const places = data.places.filter((place) => atPlace.has(place.id)).map((place) => [place.id, `${"\u2003".repeat(place.depth)}${visible(place.name)} (${atPlace.get(place.id)})`]);
    if (places.length && placeless) places.push([NOWHERE, `The site as a whole (${placeless})`]);
    const changes = [...counted((finding) => finding.change ? [finding.change] : [])];
    const words = { new: "new", standing: "stood before", returned: "has come back" };
    put(form, [
      h("div", { class: "filter-top" },
        field("Search in everything", h("input", { type: "search", id: "filter-words", autocomplete: "off", placeholder: "a name, door, card, file …", oninput: (event) => {
          filter.words = event.target.value;
          resift();
        } })),
        h("fieldset", { class: "priorities" }, h("legend", {}, "Priority"), h("div", {}, PRIORITIES.map((word) => h("label", {},
          h("input", { type: "checkbox", id: `filter-${word}`, value: word, checked: true, onchange: (event) => {
            if (event.target.checked) filter.priorities.add(word);
            else filter.priorities.delete(word);
            resift();
          } }), mark(word), " ", h("span", { class: "number quiet", id: `count-${word}` }))))),
        choose("group", "Grouped by", Object.entries(GROUPS).map(([word, [said]]) => [word, said]))),
      h("div", { class: "filter-more" },
        choose("place", "Place", places, "everywhere"), suggest("person", "Person"), suggest("door", "Door"),
        choose("rule", "Rule", rules, "every rule"),
        choose("change", "Since last time", changes.map(([word, count]) => [word, `${words[word] || word} (${count})`]), changes.length ? "all" : ""),
        choose("decision", "Decision", [["open", "none yet"], ["decided", "decided now"], ["incomplete", "incomplete"], ["before", "decided before"], ["lapsed", "has ended"]], "all")),
    ]);
    form.addEventListener("submit", (event) => event.preventDefault());
    at("reset").addEventListener("click", () => {
      filter = { ...blank(), group: filter.group };
      showFilter();
      resift();
      at("filter-words").focus();
    });
  };
  const showFilter = () => {
    for (const key of ["words", "place", "person", "door", "rule", "change", "decision", "group"]) {
      const node = at(`filter-${key}`);
      if (node) node.value = filter[key];
    }
    for (const word of PRIORITIES) at(`filter-${word}`).checked = filter.priorities.has(word);
  };
  const only = (wanted) => {
    filter = { ...blank(), ...wanted };
    showFilter();
    resift();
    at("findings-title").focus({ preventScroll: true });
    at("findings").scrollIntoView();
  };

  // ---- first screen -------------------------------------------------------------------------------------------------
  const open = findings.filter(isOpen);
  const opened = Object.fromEntries(PRIORITIES.map((word) => [word, open.filter((finding) => finding.priority === word).length]));
  const states = (word) => data.outcomes.filter((outcome) => outcome.state === word);
  // what people read: one cause, one thing to do, the most urgent first
  const CASES_SHOWN = 20;
  const caseItem = (one) => h("li", { class: "case" }, h("details", {},
    h("summary", {}, mark(one.priority), " ", h("b", {}, told(one.title)), one.life_safety ? [" ", h("span", { class: "chip safety" }, "life safety")] : null,
      one.place ? h("span", { class: "quiet" }, " · ", told(one.place)) : null,
      one.open ? null : h("span", { class: "quiet" }, " · kept by decision")),
    h("p", {}, told(one.cause)),
    h("ol", {}, one.do.map((step) => h("li", {}, told(step)))),
    h("p", { class: "quiet" }, `Who: ${one.who.join(", ")}. `, many(one.findings.length, "finding"), ": ",
      one.findings.slice(0, SHORT_LIST).map((id, order) => [order ? ", " : "", h("a", { href: `#${id}`, class: "id" }, id)]),
      one.findings.length > SHORT_LIST ? ` and ${one.findings.length - SHORT_LIST} more, in the list of findings` : "")));
  const buildCases = () => {
    if (!data.cases.length) return;
    const open = data.cases.filter((one) => one.open);
    const rest = data.cases.slice(CASES_SHOWN);
    put(at("cases-body"), [h("p", {}, `${many(open.length, "open case")}, the most urgent first.`),
      h("ol", { class: "cases" }, data.cases.slice(0, CASES_SHOWN).map(caseItem)),
      rest.length ? h("details", {}, h("summary", {}, `${rest.length} more cases`), h("ol", { class: "cases", start: CASES_SHOWN + 1 }, rest.map(caseItem))) : null]);
    at("cases").hidden = false;
  };
  const buildSummary = () => {
    at("site").append(told(data.site.name));
    at("scope").append(`As of ${date(data.as_of)}. ${data.stage === "upload" ? "Check before upload" : "Full review"}, `
      + `local code “${visible(data.site.local_code)}”, times of ${visible(data.site.timezone)}.`
      + (data.audience === "outside" ? " For readers outside: people, dwellings, cards and PINs are replaced by pseudonyms." : ""));
    at("rests-on").append(...data.scope.map((line) => h("p", {}, told(line))));
    const failed = states("failed").length;
    const all = data.outcomes.length;
    const blind = all > 0 && states("assessed").length + states("partly").length === 0;
    // the words are the record's: every output says the same
    const TONES = { trapped: "bad", "act-now": "bad", "work-due": "mend", "in-order": "good" };
    const WORDS = { trapped: "People may be trapped", "act-now": "Act today", "work-due": "Work is due",
      "in-order": "In order", "not-enough-run": "Not enough was run", incomplete: "Incomplete" };
    const state = data.verdict ? data.verdict.state : "not-enough-run";
    const lines = data.verdict ? data.verdict.lines : ["No verdict."];
    at("verdict-box").classList.add(TONES[state] || "unknown");
    at("verdict-word").textContent = WORDS[state];
    at("verdict").textContent = lines[0];
    put(at("verdict-more"), [...lines.slice(1).map((line) => h("span", { class: "line" }, told(line))),
      ...(data.verdict ? data.verdict.next.map((line) => h("span", { class: "line" }, "Record next: ", told(line))) : [])]);
    const kept = (priority) => data.totals[priority] - opened[priority];
    at("tallies").hidden = blind && !findings.length;
    put(at("tallies"), PRIORITIES.map((priority) => h("li", {}, h("span", { class: "count" }, opened[priority].toLocaleString("en-GB")), mark(priority),
      h("span", { class: "means" }, MEANS[priority], kept(priority) > 0 ? `; ${kept(priority)} more under a decision` : ""))));
    buildCases();
    buildFirst();
    buildUnseen(failed);
    buildSince();
    if (data.notices.length) {
      const lines = data.notices.map((one) => h("li", {}, told(one)));
      put(at("notices"), [h("div", { class: "notice" }, h("h3", {}, "To note"), h("ul", {}, lines.slice(0, SHORT_LIST)),
        lines.length > SHORT_LIST ? h("details", { class: "same" }, h("summary", {}, `and ${lines.length - SHORT_LIST} more`), h("ul", {}, lines.slice(SHORT_LIST))) : null)]);
    }
  };
  // What a group is about, in few words: the first few of its doors, cards, people.
  const whom = (members) => {
    const some = [...new Set(members.slice(0, 4).map((finding) => Object.values(finding.subjects)[0]).map((ids) => ids && ids[0]).filter(Boolean))].slice(0, 3);
    return some.join(", ") + (members.length > some.length ? " …" : "");
  };
  const buildFirst = () => {
    const groups = grouped(open, "remedy").slice(0, FIRST_ACTIONS);
    if (!groups.length) {
      const unseen = states("not-assessed").length || states("partly").length;
      const some = states("assessed").length || states("partly").length;
      put(at("first"), [h("p", {}, !some ? "Fill in the registers: what is lacking stands beside this. Then run the audit again." : unseen ? "Nothing to mend. To learn more, fill in what the registers lack, as listed beside this." : "Nothing to mend. Run the audit again at the next review, or when the registers change.")]);
      return;
    }
    put(at("first"), [h("ol", { class: "first-list" }, groups.map(([remedy, members]) => {
      const gravest = members.reduce((a, b) => PRIORITIES.indexOf(a.priority) <= PRIORITIES.indexOf(b.priority) ? a : b).priority;
      return h("li", {}, go({ remedy }, told(remedy)),
        h("span", { class: "quiet" }, mark(gravest), members.some((finding) => finding.life_safety) ? [" · ", h("span", { class: "chip safety" }, "life safety")] : null,
          " · ", members.length === 1 ? told(members[0].summary) : [`${many(members.length, "finding")}: `, told(whom(members))]));
    })), grouped(open, "remedy").length > FIRST_ACTIONS ? h("p", { class: "quiet" }, `${many(grouped(open, "remedy").length - FIRST_ACTIONS, "further kind of work", "further kinds of work")} `, h("a", { href: "#findings" }, "below"), ".") : null]);
  };
  const byReason = (outcomes) => {
    const reasons = new Map();
    for (const outcome of outcomes) {
      const reason = outcome.reason || "no reason given";
      if (!reasons.has(reason)) reasons.set(reason, []);
      reasons.get(reason).push(outcome.rule);
    }
    const grave = (rules) => rules.some(isLifeSafety) ? 0 : 1;
    return [...reasons].sort(([, a], [, b]) => grave(a) - grave(b) || b.length - a.length);
  };
  const buildUnseen = (failed) => {
    const not = states("not-assessed");
    const partly = states("partly");
    const place = at("unseen");
    if (failed) put(place, [h("div", { class: "notice" }, h("p", {}, `${many(failed, "rule")} broke while running, so this pack is incomplete: `,
      states("failed").map((outcome, order) => [order ? ", " : "", title(outcome.rule)]), "."))]);
    if (!not.length && !partly.length) {
      put(place, [h("p", {}, failed ? "Every other rule was looked at in full." : "Every rule was looked at in full.")]);
      return;
    }
    const reasons = byReason(not);
    const most = 6;
    put(place, [
      not.length ? h("ul", { class: "reasons" }, reasons.slice(0, most).map(([reason, rules]) => {
        const safety = rules.filter(isLifeSafety);
        return h("li", {}, told(capital(reason)), h("span", { class: "quiet" },
          `${many(rules.length, "rule")}: ${rules.slice(0, 3).map(title).join("; ")}${rules.length > 3 ? ` and ${rules.length - 3} more` : ""} `,
          safety.length ? h("span", { class: "chip safety" }, safety.length === rules.length ? "life safety" : `${safety.length} life safety`) : null));
      })) : null,
      h("p", {}, reasons.length > most ? `${many(reasons.length - most, "further reason")}. ` : "",
        partly.length ? `${many(partly.length, "rule")} could judge only some of the rows (${partly.reduce((sum, outcome) => sum + outcome.unassessed, 0).toLocaleString("en-GB")} not judged). ` : "",
        h("a", { href: "#coverage" }, "All of it"))]);
  };
  const buildSince = () => {
    const changes = counted((finding) => finding.change ? [finding.change] : []);
    const compared = changes.size || data.mended.length || data.not_reassessed.length;
    if (!compared) {
      put(at("since"), [h("p", { class: "quiet" }, "Not compared with an earlier review.")]);
      return;
    }
    const parts = [["new", "new"], ["standing", "stood before"], ["returned", "came back"]].map(([word, said]) => [changes.get(word) || 0, said, word]);
    const jump = (count, said, word) => count ? go({ change: word }, `${count.toLocaleString("en-GB")} ${said}`) : `none ${said}`;
    const past = (heading, entries) => entries.length ? h("details", { class: "same" }, h("summary", {}, heading),
      paged(entries, ["Rule", "Concerns"], (one) => [title(one.rule), told(Object.entries(one.subjects).map(([key, ids]) => `${sentence(key).toLowerCase()} ${ids.map((id) => label(key, id)).join(", ")}`).join("; "))], heading)) : null;
    put(at("since"), [h("h3", {}, "Since the previous review"),
      h("p", {}, parts.map(([count, said, word], order) => [order ? ", " : "", jump(count, said, word)]),
        `; ${data.mended.length.toLocaleString("en-GB")} mended`, data.not_reassessed.length ? `; ${data.not_reassessed.length.toLocaleString("en-GB")} could not be looked at again, which is not the same as mended` : "", "."),
      past(`The ${many(data.mended.length, "finding")} mended`, data.mended),
      past(`The ${many(data.not_reassessed.length, "finding")} not looked at again`, data.not_reassessed),
      data.not_reassessed.length ? h("p", { class: "quiet" }, "To carry earlier decisions on those, take up the earlier decisions.csv first (Continue from a file).") : null]);
  };
  // A long table, a page at a time.
  const paged = (entries, heads, cells, caption) => {
    let start = 0;
    const place = h("div", {});
    const show = () => {
      const stop = Math.min(start + ROLL_PAGE, entries.length);
      place.replaceChildren(table(caption, heads, entries.slice(start, stop).map((one) => row(heads, cells(one)))),
        entries.length > ROLL_PAGE ? h("div", { class: "pager" },
          h("button", { type: "button", disabled: start === 0, onclick: () => { start -= ROLL_PAGE; show(); } }, "Earlier lines"),
          h("p", {}, `${(start + 1).toLocaleString("en-GB")} to ${stop.toLocaleString("en-GB")} of ${entries.length.toLocaleString("en-GB")}`),
          h("button", { type: "button", disabled: stop >= entries.length, onclick: () => { start += ROLL_PAGE; show(); } }, "Further lines")) : "");
    };
    show();
    return place;
  };

  // ---- coverage, inputs, pictures, roll -------------------------------------------------------------------------------
  const buildCoverage = () => {
    const heads = [{ text: "Rule" }, { text: "Judged", number: true }, { text: "Not judged", number: true }, { text: "Found", number: true }, { text: "Why not" }];
    const safetyFirst = (some) => [...some].sort((a, b) => isLifeSafety(b.rule) - isLifeSafety(a.rule));
    const part = (heading, some, whole) => some.length ? [h("h3", {}, `${heading} (${some.length})`),
      table(heading, whole ? heads.slice(0, 4) : heads, safetyFirst(some).map((outcome) => row(heads, [
        [title(outcome.rule), isLifeSafety(outcome.rule) ? [" ", h("span", { class: "chip safety" }, "life safety")] : null],
        outcome.state === "not-assessed" ? "–" : outcome.checked.toLocaleString("en-GB"), outcome.unassessed.toLocaleString("en-GB"),
        outcome.found ? go({ rule: outcome.rule }, outcome.found.toLocaleString("en-GB"), { "aria-label": `${outcome.found} found: ${title(outcome.rule)}` }) : "0",
        outcome.reason ? told(outcome.reason) : outcome.unassessed ? "a value it needs is not given" : ""].slice(0, whole ? 4 : 5))))] : null;
    put(at("coverage-body"), [h("p", { class: "prose" }, "What is not given is not judged, and what is not judged is never counted as in order."),
      part("Broke while running", states("failed")), part("Not looked at", states("not-assessed")),
      part("Looked at in part", states("partly")), part("Looked at in full", states("assessed"), true)]);
  };
  const buildInputs = () => {
    const heads = [{ text: "Table" }, { text: "File" }, { text: "Rows", number: true }, { text: "Set aside", number: true }, { text: "SHA-256", digest: true }];
    put(at("inputs"), [data.inputs.length ? table("The input files", heads, data.inputs.map((one) => row(heads, [told(one.table), told(one.file),
      one.rows.toLocaleString("en-GB"), one.set_aside.toLocaleString("en-GB"), told(one.commitment)]))) : h("p", {}, "No table was given.")]);
  };
  const same = (said, node) => h("details", { class: "same" }, h("summary", {}, said), node);
  const FREE = (given) => given === true ? "free" : given === false ? "not free" : "not given";
  const RESULTS = { out: "way out", trapped: "no way out", unclear: "cannot be judged" };
  const STATES = ["normal", "power-lost", "fire-alarm"];
  const buildPictures = () => {
    const fill = (id, build) => {
      const place = at(id);
      if (place) put(place, [build()]);
    };
    if (!document.querySelector("#pictures figure")) put(at("pictures-none"), [h("p", {}, "There is nothing to draw: the registers gave no places, hours, zones or doors for this report.")]);
    fill("same-places", () => same("The same as a table", paged(data.counts, ["Place", "Immediate", "Planned", "Advisory"].map((said, order) => ({ text: said, number: order > 0 })),
      (one) => [["\u2003".repeat(one[2]), go({ place: one[0] === null ? NOWHERE : one[0] }, told(one[1]))],
        ...one[3].map((count) => count.toLocaleString("en-GB"))], "Findings by place")));
    fill("same-weeks", () => same("The same in words", paged(data.weeks, ["Schedule or door", "Hours", "Note"], (one) => one.map(told), "Weekly hours")));
    fill("same-ways", () => same("The same as tables", [
      paged(data.zones, ["Zone", "Kind", "People", "Normal use", "Power lost", "Fire alarm"], (zone) => [told(zone.name || zone.id), told(zone.kind),
        zone.occupants === null ? "not given" : String(zone.occupants), ...STATES.map((state) => zone.safe ? "place of safety" : RESULTS[zone.results[state]] || "cannot be judged")], "Zones, and whether those in them come out"),
      paged(data.doors, ["Door", "From", "To", "Normal use", "Power lost", "Fire alarm", "Remark"], (door) => [told(door.name || door.id), told(zoneName(door.inside)), told(zoneName(door.outside)),
        ...STATES.map((state) => FREE((door.free || {})[state])), door.weak ? "the only way" : ""], "Doors, and whether they are free to leave")]));
    fill("same-reach", () => same("The same as a table", paged(data.reach.rows, ["Who", "People", "At all hours", "Part of the week", "Cannot be judged"], (one) => [told(one.name), one.people.toLocaleString("en-GB"),
      ...["always", "part", "unclear"].map((cell) => listOf(data.reach.columns.filter((_, order) => one.cells[order] === cell).map((column) => told(column.name)), "none"))], "Who reaches what")));
  };
  const zoneNames = new Map(data.zones.map((zone) => [zone.id, zone.name || zone.id]));
  const zoneName = (id) => zoneNames.get(id) || id;
  const ROLL = [["person", "Person"], ["name", "Name"], ["dwelling", "Dwelling"], ["door_group", "Doors"], ["hours", "Hours"], ["through", "Through"], ["since", "Since"], ["change", "Change"]];
  let rollShown = data.roll;
  const buildRoll = () => {
    const place = at("roll-body");
    if (!data.roll.length) {
      put(place, [h("p", {}, "There is no access roll: people, permissions or doors were not given.")]);
      return;
    }
    const heads = ROLL.map(([, said]) => said);
    const cells = (line) => line.map((cell, order) => ROLL[order][0] === "since" ? cell ? date(cell) : "" : told(cell));
    const changes = [...new Set(data.roll.map((line) => line[7]).filter(Boolean))].sort();
    const screen = h("div", { class: "roll-screen" });
    const count = h("output", { "aria-live": "polite" });
    let words = "";
    let change = "";
    const show = () => {
      const wanted = words.toLowerCase().split(/\s+/).filter(Boolean);
      rollShown = data.roll.filter((line) => (!change || line[7] === change) && wanted.every((word) => line.join(" ").toLowerCase().includes(word)));
      count.textContent = rollShown.length === data.roll.length ? many(data.roll_total, "line") + "." : `${rollShown.length.toLocaleString("en-GB")} of ${many(data.roll_total, "line")}.`;
      screen.replaceChildren(rollShown.length ? paged(rollShown, heads, cells, "Access roll") : h("p", {}, "No line fits."));
    };
    put(place, [h("p", { class: "prose" }, "Everyone entitled, the doors they open, when and through what. The agent reads and signs it at each review (access-roll.csv, or the PDF)."),
      data.roll.length < data.roll_total ? h("p", { class: "notice" }, `Only ${data.roll.length.toLocaleString("en-GB")} of ${many(data.roll_total, "line")} stand here; all of them in access-roll.csv.`) : null,
      h("div", { class: "roll-bar" }, field("Search the roll", h("input", { type: "search", oninput: (event) => { words = event.target.value; show(); } })),
        changes.length ? field("Change", h("select", { onchange: (event) => { change = event.target.value; show(); } }, h("option", { value: "" }, "all"), changes.map((one) => h("option", { value: one }, visible(one))))) : null,
        h("p", {}, count)),
      screen, h("div", { id: "roll-printed" }),
      h("div", { class: "sign" }, ["Name", "Signature", "Date"].map((said) => h("span", {}, said)))]);
    show();
    printers.push(() => at("roll-printed").replaceChildren(table("Access roll", heads, rollShown.map((line) => row(heads, cells(line))))), () => at("roll-printed").replaceChildren());
  };

  // ---- saving, and taking up again -----------------------------------------------------------------------------------
  // A cell that a spreadsheet would run as a formula gets an apostrophe in front; the audit takes it off again.
  const cell = (given) => {
    const plain = String(given ?? "").replace(/\u0000/g, "");
    return '"' + (/^[\s]*[=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20]/.test(plain) ? "'" + plain : plain).replace(/"/g, '""') + '"';
  };
  const toSave = () => {
    const rows = [];
    for (const finding of findings) {
      const draft = drafts[finding.id];
      if (draft && draft.withdrawn) continue;
      if (draft && !lacking(draft, finding.life_safety).length) rows.push([finding.id, ...COLUMNS.slice(1).map((column) =>
        ["until", "document", "competent_person"].includes(column) && !["keep", "later"].includes(draft.decision) ? "" : draft[column].trim())]);
      else if (finding.decision) rows.push([finding.id, ...COLUMNS.slice(1).map((column) => finding.decision[column] || "")]);
    }
    for (const id of carried()) rows.push([id, ...COLUMNS.slice(1).map((column) => drafts[id][column])]);
    return rows;
  };
  // site and review say where a row belongs, rule and subject what it was decided on
  const whole = (line) => {
    const finding = byId.get(line[0]);
    const subject = finding ? [...new Set(Object.values(finding.subjects).flat())].sort().join("; ") : "";
    return [SITE, data.as_of, ...line, finding ? finding.rule : "", subject];
  };
  const HEADER = ["site", "review", ...COLUMNS, "rule", "subject"];
  const csv = () => "\ufeff" + [HEADER.join(","), ...toSave().map((line) => whole(line).map(cell).join(","))].join("\r\n") + "\r\n";
  const save = () => {
    const address = URL.createObjectURL(new Blob([csv()], { type: "text/csv;charset=utf-8" }));
    const link = h("a", { href: address, download: `decisions ${String(SITE).replace(/[^\w.-]+/g, "-")} ${data.as_of}.csv` });
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(address), 60000);
    unsaved = false;
    keep();
    showDecisions(`Saved ${many(toSave().length, "decision")}. They belong to ${data.site.name}, review ${data.as_of}: put the file into that site folder under the name decisions.csv and run the audit again.`);
  };
  const parse = (source) => {
    const rows = [[]];
    let given = "";
    let quoted = false;
    const plain = source.replace(/^\ufeff/, "");
    const first = plain.split(/[\r\n]/, 1)[0];
    const comma = (first.match(/;/g) || []).length > (first.match(/,/g) || []).length ? ";" : ",";
    for (let place = 0; place < plain.length; place += 1) {
      const letter = plain[place];
      if (quoted) {
        if (letter === '"' && plain[place + 1] === '"') { given += '"'; place += 1; } else if (letter === '"') quoted = false;
        else given += letter;
      } else if (letter === '"') quoted = true;
      else if (letter === comma) { rows.at(-1).push(given); given = ""; } else if (letter === "\n" || letter === "\r") {
        if (letter === "\r" && plain[place + 1] === "\n") place += 1;
        rows.at(-1).push(given);
        given = "";
        rows.push([]);
      } else given += letter;
    }
    rows.at(-1).push(given);
    return rows.filter((line) => line.some((one) => one.trim()));
  };
  const takeUp = async (file) => {
    const lines = parse(await file.text());
    const heads = (lines.shift() || []).map((head) => head.trim().toLowerCase());
    if (!heads.includes("finding_id") || !heads.includes("decision")) {
      showDecisions("That file has no finding_id and decision columns; nothing was taken from it.");
      return;
    }
    let taken = 0;
    let strange = 0;
    for (const line of lines) {
      const found = Object.fromEntries(heads.map((head, order) => [head, (line[order] || "").trim().replace(/^'(?=\s*[=+\-@\uff1d\uff0b\uff0d\uff20])/, "")]));
      const id = (found.finding_id || "").toLowerCase();
      if (!(byId.has(id) || unseenIds.has(id)) || !DECISIONS[(found.decision || "").toLowerCase()]) { strange += 1; continue; }
      if (found.site && found.site !== SITE && found.site !== data.site.name) { strange += 1; continue; }
      drafts[id] = newDraft({ ...found, decision: found.decision.toLowerCase() });
      taken += 1;
    }
    unsaved = true;
    keep();
    resift();
    showDecisions(`${many(taken, "decision")} taken from the file` + (strange ? `; ${many(strange, "row")} left, which ${strange === 1 ? "fits" : "fit"} no finding here` : "") + ".");
  };
  const showDecisions = (message) => {
    const bar = at("decisions");
    bar.hidden = !findings.length;
    if (!findings.length) return;
    const counts = { decided: 0, incomplete: 0, before: 0 };
    for (const finding of findings) {
      const where = standing(finding);
      if (where in counts) counts[where] += 1;
    }
    const strangers = Object.keys(drafts).filter((id) => !byId.has(id) && !unseenIds.has(id)).length;
    if (!bar.firstChild) put(bar, [h("div", { class: "decisions-inner" }, h("p", { role: "status", id: "decisions-said" }),
      h("button", { type: "button", class: "plain", id: "to-incomplete", onclick: () => only({ decision: "incomplete" }) }, "Show the incomplete"),
      h("label", { class: "file" }, h("input", { type: "file", accept: ".csv,text/csv", onchange: (event) => { if (event.target.files[0]) takeUp(event.target.files[0]); event.target.value = ""; } }), h("span", {}, "Continue from a file…")),
      h("button", { type: "button", class: "main", id: "save", onclick: save }, "Save decisions"))]);
    const said = [];
    if (counts.decided) said.push(`${counts.decided.toLocaleString("en-GB")} decided now`);
    if (counts.incomplete) said.push(`${counts.incomplete.toLocaleString("en-GB")} incomplete, not saved until complete`);
    if (counts.before) said.push(`${counts.before.toLocaleString("en-GB")} decided before`);
    if (carried().length) said.push(`${carried().length} carried for findings not looked at this time`);
    if (strangers) said.push(`${strangers} left, whose findings are not in this report`);
    at("decisions-said").textContent = message || (said.length ? said.join("; ") + "." : "No decisions yet. Open a finding to decide.")
      + (keeps ? "" : " This browser keeps nothing between visits: save before you close the page.");
    at("to-incomplete").hidden = !counts.incomplete;
    at("save").disabled = !toSave().length && !unsaved;
  };

  // ---- dialogs: one decision for a whole group, and printing ----------------------------------------------------------
  const openBulk = (heading, members) => {
    const dialog = at("bulk-dialog");
    const draft = newDraft(null);
    const life_safety = members.some((finding) => finding.life_safety);
    const already = members.filter((finding) => ["decided", "incomplete", "before"].includes(standing(finding))).length;
    const apply = h("button", { type: "button", class: "main", disabled: true, onclick: () => {
      for (const finding of members) drafts[finding.id] = { ...draft };
      unsaved = true;
      keep();
      dialog.close();
      draw();
      showDecisions(`${many(members.length, "finding")} decided: ${decisionWords(draft)}.`);
    } }, `Decide ${members.length.toLocaleString("en-GB")}`);
    dialog.replaceChildren(h("h2", { id: "bulk-title" }, `One decision for ${many(members.length, "finding")}`), h("p", {}, told(heading)),
      h("p", { class: "quiet" }, "Each finding gets its own line in decisions.csv, so that each can be decided otherwise later.",
        already ? ` ${many(already, "decision")} made before ${already === 1 ? "is" : "are"} replaced.` : ""),
      decisionForm(draft, life_safety, "Your decision", () => { apply.disabled = lacking(draft, life_safety).length > 0; },
        life_safety ? h("p", { class: "said quiet" }, "Some of these are about life safety: they can be kept only on the word of a competent person, named, with a document.") : null),
      h("div", { class: "buttons" }, apply, h("button", { type: "button", onclick: () => dialog.close() }, "Leave as it is")));
    dialog.showModal();
  };
  const printers = [];
  const buildPrint = () => {
    const dialog = at("print-dialog");
    const parts = [["findings", "Findings"], ["pictures", "Pictures"], ["roll", "Access roll, with a line to sign"], ["coverage", "What was looked at"], ["about", "About this report"]];
    at("print-open").hidden = false;
    at("print-open").addEventListener("click", () => {
      dialog.replaceChildren(h("h2", { id: "print-title" }, "Print"), h("p", {}, "The summary, and:"),
        h("div", { class: "checks" }, parts.map(([id, said]) => h("label", {}, h("input", { type: "checkbox", checked: !at(id).classList.contains("no-print"), onchange: (event) => at(id).classList.toggle("no-print", !event.target.checked) }),
          h("span", {}, said, id === "findings" && shown.length ? `, ${shown.length === findings.length ? "all" : "as filtered"}: ${shown.length.toLocaleString("en-GB")}` : "")))),
        h("p", { class: "quiet" }, "For filing, report.pdf in the same folder holds all of it."),
        h("div", { class: "buttons" }, h("button", { type: "button", class: "main", onclick: () => { dialog.close(); print(); } }, "Print"), h("button", { type: "button", onclick: () => dialog.close() }, "Leave")));
      dialog.showModal();
    });
    // On paper every finding of the filter stands open; what a rule's findings share is told once.
    addEventListener("beforeprint", () => {
      const parts = [];
      for (const [key, members] of ordered) {
        const seen = new Set();
        parts.push(h("div", { class: "group" }, h("div", { class: "group-head" }, h("div", {}, h("h3", {}, told(groupTitle(filter.group, key))), h("p", {}, many(members.length, "finding")))),
          members.map((finding) => {
            const fresh = !seen.has(finding.rule);
            seen.add(finding.rule);
            const said = drafts[finding.id] && standing(finding) === "decided" ? drafts[finding.id] : finding.decision;
            return [fresh ? h("div", { class: "printed-rule" }, h("p", {}, h("b", {}, title(finding.rule)), ". ", told(finding.why)), filter.group === "remedy" ? null : h("p", {}, "What to do: ", told(finding.remedy)), finding.references.length ? h("p", { class: "quiet" }, told(finding.references.join("; "))) : null) : null,
              h("div", { class: "printed-finding" }, h("p", {}, mark(finding.priority), " ", told(finding.summary), finding.life_safety ? [" ", h("span", { class: "chip safety" }, "life safety")] : null),
                h("p", { class: "quiet" }, told(finding.sources.slice(0, SHORT_LIST).map(sourceWords).join("; ") + (finding.sources.length > SHORT_LIST ? ` and ${finding.sources.length - SHORT_LIST} rows more` : "")),
                  finding.change ? ` · ${finding.change}` : "", " · ", h("span", { class: "id" }, finding.id)),
                Object.keys(finding.evidence).length ? h("p", { class: "quiet" }, told(Object.entries(finding.evidence).map(([name, one]) => `${sentence(name)}: ${one === null ? "not given" : Array.isArray(one) ? one.join(", ") : typeof one === "object" ? JSON.stringify(one) : one}`).join("; "))) : null,
                said ? h("p", {}, h("b", {}, "Decision: "), decisionWords(said), said.decided_by ? [", ", told(said.decided_by)] : null, said.reason ? [": ", told(said.reason)] : null, lapsed(finding) && said === finding.decision ? " (ended: open again)" : "") : null)];
          })));
      }
      const whole = shown.length === findings.length;
      at("printed").replaceChildren(h("p", {}, !findings.length ? at("list").textContent
        : whole ? `All ${many(findings.length, "finding")}.` : `${shown.length.toLocaleString("en-GB")} of ${many(findings.length, "finding")}: those of the filter on the screen.`), ...parts);
      at("list").after(at("printed"));
      at("printed").hidden = false;
      for (let place = 0; place < printers.length; place += 2) printers[place]();
    });
    addEventListener("afterprint", () => {
      at("printed").replaceChildren();
      at("printed").hidden = true;
      for (let place = 1; place < printers.length; place += 2) printers[place]();
    });
  };
  const goTo = () => {
    const finding = byId.get(location.hash.slice(1));
    if (!finding) return;
    filter = blank();
    showFilter();
    resift();
    let place = 0;
    for (const [, members] of ordered) {
      const found = members.indexOf(finding);
      if (found >= 0) { place += found; break; }
      place += members.length;
    }
    filter.page = Math.floor(place / PAGE);
    draw();
    const node = at(`f-${finding.id}`);
    node.querySelector("details").open = true;
    node.scrollIntoView();
    node.querySelector("summary").focus({ preventScroll: true });
  };

  buildSummary();
  buildFilters();
  resift();
  buildCoverage();
  buildInputs();
  buildPictures();
  buildRoll();
  buildPrint();
  showDecisions();
  goTo();
  addEventListener("hashchange", goTo);
})();
