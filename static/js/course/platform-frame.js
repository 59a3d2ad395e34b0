// @ts-check
// A page that a course platform opened. Where it has a window of its own it goes on by itself; in a frame the button
// opens a tab, and the page then says so. A registration that is done lets the platform close its frame.

const form = document.querySelector("form[data-alone]");
if (form instanceof HTMLFormElement) {
  if (window.top === window) {
    form.target = "";
    form.submit();
  }
  form.addEventListener("submit", () => form.querySelector("[role=status]")?.removeAttribute("hidden"));
}

const closes = document.querySelector("[data-closes]");
if (closes) {
  // The message says nothing that others may not know, so it may go to any platform.
  const close = () => (window.opener ?? window.parent).postMessage({ subject: "org.imsglobal.lti.close" }, "*");
  const button = closes.querySelector("button[hidden]");
  button?.removeAttribute("hidden");
  button?.addEventListener("click", close);
}
