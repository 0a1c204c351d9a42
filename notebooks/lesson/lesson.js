// Questions and flip books answer here: one set of listeners serves all that a document holds.
(() => {
  if (window.edgekitLesson) return;
  window.edgekitLesson = true;
  document.documentElement.classList.add("ek-live");
  const style = document.querySelector("style.ek-style");
  if (style && !document.head.contains(style)) document.head.append(style.cloneNode(true));
  const show = (part, chosen) => {
    part.classList.add("ek-done");
    const shut = (piece, yes) => { piece.hidden = yes; piece.style.display = yes ? "none" : ""; };
    for (const reply of part.querySelectorAll(".ek-reply")) shut(reply, reply.dataset.of !== chosen);
    for (const answer of part.querySelectorAll(".ek-answer")) shut(answer, false);
  };
  const listen = (event, selector, act) => document.addEventListener(event, (e) => {
    const part = e.target.closest && e.target.closest(selector);
    if (part) act(part, e);
  }, true);
  listen("input", "form.ek-ask", (form) => {
    const given = form.querySelector("input:checked, input[type=number]:valid");
    form.querySelector("button").disabled = !given || given.value === "";
  });
  listen("submit", "form.ek-ask", (form, e) => {
    e.preventDefault();
    const box = form.querySelector("input[type=number]");
    const chosen = form.querySelector("input:checked");
    if (!box) return show(form, chosen.value);
    const value = Number(box.value), low = Number(box.dataset.low), high = Number(box.dataset.high);
    show(form, value < low ? "small" : value > high ? "large" : "right");
  });
  listen("input", ".ek-book", (book, e) => {
    book.querySelectorAll("figure").forEach((frame, k) => {
      frame.hidden = k !== Number(e.target.value);
      if (frame.hidden) return;
      const title = frame.querySelector("figcaption").textContent;
      e.target.setAttribute("aria-valuetext", title);
      book.querySelector("output").textContent = frame.dataset.value;
    });
  });
})();
