// Zoom and pan of charts by dragging, pinching and keys. What is shown is drawn by the service: this script
// only asks for another stretch of time. Without it the links above the charts do the same.
"use strict";

(() => {
  const MINUTE_MS = 60000;
  const LEAST_MS = 5 * MINUTE_MS;
  // A finger or hand that moves less meant a tap.
  const LEAST_PX = 8;
  const SVG = "http://www.w3.org/2000/svg";
  let area = document.querySelector(".zoom");
  // Another script has put a fresh timeline there.
  document.addEventListener("timeline", () => {
    area = document.querySelector(".zoom");
    if (area) {
      listen();
    }
  });
  if (!area || !window.fetch || !window.PointerEvent) {
    return;
  }
  let asked = 0;

  const span = () => ({ start: Number(area.dataset.start), end: Number(area.dataset.end) });
  const text = (ms) => new Date(ms).toISOString().replace(/\.\d+Z$/, "Z");

  // Puts the stretch that the service has drawn into this page; what else is on it (a note half written) stays.
  const show = async (address) => {
    const number = ++asked;
    try {
      const answer = await fetch(address, { headers: { accept: "text/html" } });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const fresh = page.getElementById("timeline");
      if (!answer.ok || !fresh) {
        throw new Error("no timeline");
      }
      if (number !== asked) {
        return;
      }
      const had = area.contains(document.activeElement) || document.activeElement === area;
      const moved = document.activeElement && document.activeElement.dataset.move;
      document.getElementById("timeline").replaceWith(document.importNode(fresh, true));
      history.replaceState(null, "", address);
      area = document.querySelector(".zoom");
      listen();
      const next = moved ? document.querySelector(`[data-move="${moved}"]`) : had ? area : null;
      if (next) {
        next.focus({ preventScroll: true });
      }
    } catch {
      location.assign(address);
    }
  };

  const go = (start, end) => {
    const width = Math.max(end - start, LEAST_MS);
    const middle = (start + end) / 2;
    const query = new URLSearchParams(location.search);
    for (const key of ["hours", "asked"]) {
      query.delete(key);
    }
    for (const field of document.querySelectorAll("form#limits input[name]")) {
      query.set(field.name, field.value);
    }
    query.set("from", text(middle - width / 2));
    query.set("to", text(middle + width / 2));
    show(`${location.pathname}?${query}`);
  };

  const scale = (factor, at) => {
    const { start, end } = span();
    const middle = start + (end - start) * at;
    go(middle - (middle - start) * factor, middle + (end - middle) * factor);
  };

  const move = (share) => {
    const { start, end } = span();
    go(start + share * (end - start), end + share * (end - start));
  };

  // Where a pointer is on a chart, as a share of its plot.
  const place = (chart, x) => {
    const box = chart.querySelector(".frame").getBoundingClientRect();
    return Math.min(Math.max((x - box.left) / box.width, 0), 1);
  };

  const drag = (chart) => {
    const fingers = new Map();
    let first = 0;
    let begun = 0;
    let mark = null;
    const forget = () => {
      if (mark) {
        mark.remove();
        mark = null;
      }
    };
    const distance = () => {
      const [one, other] = [...fingers.values()];
      return Math.max(Math.abs(one - other), 1);
    };
    chart.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) {
        return;
      }
      fingers.set(event.pointerId, event.clientX);
      if (fingers.size === 2) {
        forget();
        first = distance();
      } else if (fingers.size === 1) {
        begun = event.clientX;
        chart.setPointerCapture(event.pointerId);
        if (event.pointerType === "mouse") {
          event.preventDefault();
          area.focus({ preventScroll: true });
        }
      }
    });
    chart.addEventListener("pointermove", (event) => {
      if (!fingers.has(event.pointerId)) {
        return;
      }
      fingers.set(event.pointerId, event.clientX);
      if (fingers.size !== 1 || Math.abs(event.clientX - begun) < LEAST_PX) {
        return;
      }
      if (!mark) {
        mark = document.createElementNS(SVG, "rect");
        mark.setAttribute("class", "chosen");
        mark.setAttribute("y", "0");
        mark.setAttribute("height", "100%");
        chart.append(mark);
      }
      const [left, right] = [place(chart, begun), place(chart, event.clientX)].sort((a, b) => a - b);
      mark.setAttribute("x", `${100 * left}%`);
      mark.setAttribute("width", `${100 * (right - left)}%`);
    });
    const end = (event) => {
      if (!fingers.has(event.pointerId)) {
        return;
      }
      const { start, end: last } = span();
      if (event.type === "pointerup" && fingers.size === 2 && first) {
        const middle = [...fingers.values()].reduce((sum, x) => sum + x, 0) / 2;
        const factor = first / distance();
        if (Math.abs(Math.log(factor)) > 0.1) {
          scale(factor, place(chart, middle));
        }
      } else if (event.type === "pointerup" && fingers.size === 1 && mark) {
        const [left, right] = [place(chart, begun), place(chart, event.clientX)].sort((a, b) => a - b);
        go(start + left * (last - start), start + right * (last - start));
      }
      forget();
      fingers.clear();
    };
    chart.addEventListener("pointerup", end);
    chart.addEventListener("pointercancel", end);
    chart.addEventListener("dblclick", (event) => scale(0.5, place(chart, event.clientX)));
  };

  const KEYS = {
    ArrowLeft: () => move(-0.25),
    ArrowRight: () => move(0.25),
    "+": () => scale(0.5, 0.5),
    "=": () => scale(0.5, 0.5),
    "-": () => scale(2, 0.5),
    0: () => show(location.pathname),
  };

  const listen = () => {
    for (const chart of area.querySelectorAll(".chart")) {
      drag(chart);
    }
    area.addEventListener("keydown", (event) => {
      const deed = KEYS[event.key];
      if (deed && !event.ctrlKey && !event.altKey && !event.metaKey) {
        event.preventDefault();
        deed();
      }
    });
    for (const link of document.querySelectorAll("#timeline [data-move]")) {
      link.addEventListener("click", (event) => {
        if (!event.ctrlKey && !event.metaKey && !event.shiftKey && event.button === 0) {
          event.preventDefault();
          show(link.getAttribute("href").startsWith("?") ? location.pathname + link.getAttribute("href") : link.href);
        }
      });
    }
  };
  listen();
})();
