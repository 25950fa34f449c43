// Keeps each slider and its number the same, and asks for what would change while the slider is moved. Without
// this script the numbers and the button do the same.
"use strict";

(() => {
  const WAIT_MS = 200;
  const form = document.getElementById("limits");
  if (!form || !window.fetch) {
    return;
  }
  let timer = 0;
  let asked = 0;
  const look = async () => {
    const number = ++asked;
    const address = `${form.getAttribute("action")}?${new URLSearchParams(new FormData(form))}`;
    try {
      const answer = await fetch(address, { headers: { accept: "text/html" } });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const fresh = page.getElementById("timeline") || page.querySelector("main");
      if (number === asked && fresh) {
        const place = document.importNode(fresh, true);
        place.id = "timeline";
        document.getElementById("timeline").replaceWith(place);
        if (answer.ok) {
          history.replaceState(null, "", address);
        }
        document.dispatchEvent(new Event("timeline"));
      }
    } catch {
      form.requestSubmit();
    }
  };
  form.addEventListener("input", (event) => {
    const moved = event.target;
    const other = moved.dataset.of
      ? form.elements.namedItem(moved.dataset.of)
      : form.querySelector(`[data-of="${moved.name}"]`);
    if (other) {
      other.value = moved.value;
    }
    clearTimeout(timer);
    timer = setTimeout(look, WAIT_MS);
  });
})();
