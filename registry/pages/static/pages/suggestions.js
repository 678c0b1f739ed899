// Offers names while somebody types a combination. Without it the field takes the same words.
"use strict";
for (const [place, field] of document.querySelectorAll("input[data-suggest=genes]").entries()) {
  const list = document.createElement("datalist");
  list.id = `offers-${place}`;
  field.after(list);
  field.setAttribute("list", list.id);
  let waiting = 0;
  let asked = "";
  field.addEventListener("input", () => {
    clearTimeout(waiting);
    waiting = setTimeout(async () => {
      const chosen = field.form.elements.namedItem("species");
      const species = field.dataset.species || (chosen && chosen.value);
      const text = field.value;
      if (!species || !text.trim() || text === asked) return;
      asked = text;
      const query = new URLSearchParams({ species, text });
      try {
        const answer = await fetch(`/suggestions/?${query}`);
        if (!answer.ok || field.value !== text) return;
        const { suggestions } = await answer.json();
        list.replaceChildren(...suggestions.map((one) => {
          const option = document.createElement("option");
          option.value = one;
          return option;
        }));
      } catch {
        // No network: the field works without offers.
      }
    }, 150);
  });
}
