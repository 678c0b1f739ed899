// Keeps what is typed in a report on this device until the server has it, so that neither a reload
// nor a lost connection nor a sign-in that ends loses it. Nothing else is kept, and nothing of it
// after signing out.
"use strict";
const BEFORE = "broodcount draft ";
const MOST_DAYS = 60; // As long as the server keeps a draft.

// The storage may be closed or full: the form works without.
function storage(work) {
  try {
    return work(localStorage);
  } catch {
    return null;
  }
}

function keys() {
  return storage((all) => Object.keys(all).filter((key) => key.startsWith(BEFORE))) || [];
}

function forget(key) {
  storage((all) => all.removeItem(key));
}

function kept(key) {
  const found = storage((all) => JSON.parse(all.getItem(key)));
  if (found && Date.now() - found.at < MOST_DAYS * 86_400_000) return found;
  forget(key);
  return null;
}

for (const key of keys()) kept(key);

// What the server put in a field, whatever the browser restored or somebody typed since.
function given(field) {
  if (field.tagName !== "SELECT") return field.defaultValue;
  const chosen = [...field.options].find((one) => one.defaultSelected) || field.options[0];
  return chosen ? chosen.value : "";
}

function told(form, text) {
  const line = document.createElement("p");
  line.className = "good";
  line.setAttribute("role", "status");
  line.textContent = text;
  form.prepend(line);
  return line;
}

function follow(form) {
  const before = `${BEFORE}${form.dataset.owner} `;
  const key = before + form.dataset.draft;
  const fields = [...form.elements].filter(
    (one) => one.name && one.type !== "hidden" && one.type !== "submit",
  );
  const server = Object.fromEntries(fields.map((one) => [one.name, given(one)]));
  const sent = JSON.stringify(server);
  const handIn = document.querySelector("form[data-hand-in] button");
  const changed = document.querySelector("[data-changed]");

  const compare = () => {
    if (!handIn) return;
    handIn.disabled = fields.some((one) => one.value !== given(one));
    const text = handIn.disabled ? "You changed something: look it over again first." : "";
    if (changed.textContent !== text) changed.textContent = text;
  };
  const putBack = (typed) => {
    for (const one of fields) if (one.name in typed) one.value = typed[one.name];
    compare();
  };
  // The server cuts blanks at both ends.
  const isServers = (typed) => Object.keys(server).every(
    (name) => (typed[name] || "").trim() === server[name].trim(),
  );

  const found = kept(key);
  if (found && isServers(found.typed)) {
    forget(key);
  } else if (found && found.sent === sent) {
    putBack(found.typed);
    told(form, "What you typed here before and did not send is put back.");
  } else if (found && form.dataset.draft === "new") {
    // The page was opened with something else, such as a declared pairing: nobody wants either
    // lost, so it is asked.
    const line = told(form, "A report that you typed before and did not send is kept on this device. ");
    const button = document.createElement("button");
    button.type = "button";
    button.className = "second";
    button.textContent = "Put it back";
    button.addEventListener("click", () => {
      putBack(found.typed);
      line.textContent = "It is put back.";
      fields[0].focus();
    });
    line.append(button);
  } else if (found) {
    forget(key); // The server has something newer.
  }
  // A new report that became this draft is no longer new.
  const begun = form.dataset.draft === "new" ? null : kept(`${before}new`);
  if (begun && isServers(begun.typed)) forget(`${before}new`);

  form.addEventListener("input", () => {
    compare();
    const typed = Object.fromEntries(fields.map((one) => [one.name, one.value]));
    storage((all) => all.setItem(key, JSON.stringify({ sent, typed, at: Date.now() })));
  });
  // Handed in or thrown away. A form that is only looked over stays until the server shows it.
  for (const other of document.forms) {
    if (other !== form && other.getAttribute("action") === form.getAttribute("action")) {
      other.addEventListener("submit", () => forget(key));
    }
  }
  // Browsers put old values back when somebody returns to a page.
  window.addEventListener("pageshow", compare);
  compare();
}

for (const form of document.querySelectorAll("form[data-draft]")) follow(form);

// Whoever signs out, or erases everything, leaves nothing typed behind.
for (const form of document.querySelectorAll("form[action='/sign-out/'], form[action='/account/erase/']")) {
  form.addEventListener("submit", () => {
    const sure = form.elements.namedItem("sure");
    if (!sure || sure.checked) keys().forEach(forget);
  });
}
