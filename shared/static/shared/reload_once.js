/* A page that loads anew asks for nothing more meanwhile: each further answer would begin the loading again. */

let isLoading = false;

document.addEventListener("htmx:before:response", ({ detail }) => {
  if (detail.ctx.response.headers.get("HX-Refresh") === "true") isLoading = true;
});
document.addEventListener("htmx:before:request", (event) => {
  if (isLoading) event.preventDefault();
});
