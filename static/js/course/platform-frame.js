// @ts-check
// A page that a course platform opened. Where it has a window of its own it goes on by itself; in a frame the button
// opens a tab. A registration that is done lets the platform close its frame.

const form = document.querySelector("form[data-alone]");
if (form instanceof HTMLFormElement && window.top === window) {
  form.target = "";
  form.submit();
}

if (document.querySelector("[data-closes]")) {
  // The message says nothing that others may not know, so it may go to any platform.
  (window.opener ?? window.parent).postMessage({ subject: "org.imsglobal.lti.close" }, "*");
}
