// Puts new texts into the page that shows now, as the service sends them. Without this script the page
// is complete and reloads itself.
"use strict";

(() => {
  const main = document.querySelector("main[data-shape]");
  const state = document.getElementById("live-state");
  if (!main || !state || !window.EventSource) {
    return;
  }
  // The service gives a sign of life every 10 s.
  const QUIET_MS = 30000;
  const places = new Map();
  for (const place of document.querySelectorAll("[data-key], [data-path]")) {
    const key = place.dataset.key || place.dataset.path;
    places.set(key, [...(places.get(key) || []), place]);
  }
  let timer = 0;
  let isReloading = false;

  const say = (text) => {
    if (state.textContent !== text) {
      state.textContent = text;
    }
  };
  const lost = () => {
    main.classList.add("lost");
    say("Connection lost: what stands here is of then. Trying again.");
  };
  const alive = () => {
    main.classList.remove("lost");
    say("Live.");
    clearTimeout(timer);
    timer = setTimeout(lost, QUIET_MS);
  };

  const put = (key, text) => {
    for (const place of places.get(key) || []) {
      if (place.dataset.path) {
        place.setAttribute("d", text);
      } else if (place.textContent !== text) {
        place.textContent = text;
      }
    }
  };

  const source = new EventSource("/live");
  source.addEventListener("texts", (event) => {
    const texts = JSON.parse(event.data);
    alive();
    for (const [key, text] of Object.entries(texts)) {
      put(key, text);
    }
    if (texts.sentence) {
      document.title = texts.sentence + " – Brinebell";
    }
    // Rows or incidents came or went: the service writes them, not this script.
    if (texts.shape && texts.shape !== main.dataset.shape && !isReloading) {
      isReloading = true;
      setTimeout(() => location.reload(), 500);
    }
  });
  source.addEventListener("error", () => {
    lost();
    // Refused, and not only lost: too many watch, or the session is over. The browser does not try again.
    if (source.readyState === EventSource.CLOSED && !isReloading) {
      isReloading = true;
      setTimeout(() => location.reload(), QUIET_MS);
    }
  });
})();
