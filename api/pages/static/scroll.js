// What is wider than the page can be scrolled with the keyboard, too, and says what it is.
function follow() {
  for (const part of document.querySelectorAll(".scroll:not([role])")) {
    if (part.scrollWidth > part.clientWidth) {
      part.tabIndex = 0;
      part.setAttribute("role", "group");
      part.setAttribute("aria-label", part.querySelector("caption")?.textContent ?? "Table");
    }
  }
}

addEventListener("resize", follow);
document.addEventListener("toggle", follow, true);
new MutationObserver(follow).observe(document.body, { childList: true, subtree: true });
follow();
