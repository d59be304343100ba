// Shows the fields of the chosen kind of fault only. Without this script all of them are there.
const kind = document.getElementById("kind");

function follow() {
  for (const part of document.querySelectorAll("[data-kinds]")) {
    part.hidden = !part.dataset.kinds.split(" ").includes(kind.value);
  }
  for (const part of document.querySelectorAll("[data-not-kinds]")) {
    part.hidden = part.dataset.notKinds.split(" ").includes(kind.value);
  }
}

kind.addEventListener("change", follow);
follow();
