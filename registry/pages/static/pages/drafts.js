// Keeps what is typed in a report on this device until the server has it, so that neither a reload
// nor a lost connection loses it. Nothing else is kept.
"use strict";
const BEFORE = "broodcount draft ";

function forget(key) {
  try {
    localStorage.removeItem(key);
  } catch {
    // Storage is closed: nothing was kept.
  }
}

for (const form of document.querySelectorAll("form[data-draft]")) {
  const key = BEFORE + form.dataset.draft;
  const fields = [...form.elements].filter(
    (one) => one.name && one.name !== "csrfmiddlewaretoken" && one.type !== "hidden" && one.type !== "submit",
  );
  const sent = JSON.stringify(fields.map((one) => one.value));
  const handIn = document.querySelector("form[data-hand-in] button");

  const compare = () => {
    if (!handIn) return;
    const changed = JSON.stringify(fields.map((one) => one.value)) !== sent;
    handIn.disabled = changed;
    if (changed) handIn.setAttribute("aria-describedby", "hand-in-note");
  };

  try {
    const kept = JSON.parse(localStorage.getItem(key) || "null");
    // What the server has is newer than what was typed before it.
    if (kept && kept.sent === sent) {
      for (const one of fields) if (one.name in kept.typed) one.value = kept.typed[one.name];
    } else {
      forget(key);
    }
  } catch {
    // As above: the form works without.
  }
  compare();

  form.addEventListener("input", () => {
    compare();
    try {
      const typed = Object.fromEntries(fields.map((one) => [one.name, one.value]));
      localStorage.setItem(key, JSON.stringify({ sent, typed }));
    } catch {
      // As above.
    }
  });
  // It stays until the server shows what it has: a form that was sent after a sign-in that had
  // ended is then still there to be sent again.
  if (form.dataset.draft !== "new") forget(`${BEFORE}new`);
  for (const other of document.forms) {
    if (other !== form && other.getAttribute("action") === form.getAttribute("action")) {
      other.addEventListener("submit", () => forget(key));
    }
  }
}

// Whoever signs out leaves nothing typed behind.
for (const form of document.querySelectorAll("form[action='/sign-out/']")) {
  form.addEventListener("submit", () => {
    for (const key of Object.keys(localStorage)) if (key.startsWith(BEFORE)) forget(key);
  });
}
