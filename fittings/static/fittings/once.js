/* A form that is on its way is not sent a second time by a second click. */
for (const form of document.querySelectorAll("form[data-once]")) {
  let isSending = false;
  form.addEventListener("submit", (event) => {
    if (isSending) event.preventDefault();
    isSending = true;
  });
  addEventListener("pageshow", () => { isSending = false; });
}
