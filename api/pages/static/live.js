// Forms with data-live="<id>" show their changing part while somebody types: the same address,
// asked for that part alone. Without this script the form's button does the same.
const WAIT_MS = 300;

for (const form of document.querySelectorAll("form[data-live]")) {
  const region = document.getElementById(form.dataset.live);
  let timer = 0;
  let asking = null;

  async function ask() {
    asking?.abort();
    asking = new AbortController();
    const data = new FormData(form);
    const byPost = "livePost" in form.dataset;
    const address = new URL(byPost ? form.dataset.livePost : form.action, location.href);
    const options = { headers: { "Tracehold-Part": "yes" }, signal: asking.signal };
    if (byPost) {
      options.method = "POST";
      options.body = new URLSearchParams(data);
    } else {
      address.search = new URLSearchParams(data).toString();
    }
    region.classList.add("busy");
    try {
      const answer = await fetch(address, options);
      if (answer.status === 401) {
        location.reload();
        return;
      }
      const text = await answer.text();
      if ((answer.headers.get("Content-Type") ?? "").startsWith("text/html") && answer.headers.has("Tracehold-Part")) {
        region.innerHTML = text;
      } else {
        region.textContent = "This could not be worked out just now. Use the button to try again.";
      }
      region.classList.remove("busy");
    } catch (error) {
      if (error.name !== "AbortError") {
        region.textContent = "The server cannot be reached.";
        region.classList.remove("busy");
      }
    }
  }

  function askSoon() {
    clearTimeout(timer);
    timer = setTimeout(ask, Number(form.dataset.wait ?? WAIT_MS));
  }

  form.addEventListener("input", askSoon);
  // Somebody may have typed before this script was there.
  const fields = [...form.querySelectorAll("input:not([type=hidden]), textarea")];
  if (fields.some((field) => field.value !== field.defaultValue)) askSoon();
}
