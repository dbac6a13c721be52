// The drawing of the edition: fetched by its SHA-256, made harmless, put into the page whole.
const bad = "script, foreignObject, iframe, a, style, image, use[href^='http'], animate, set, animateTransform, animateMotion";

function make_harmless(svg) {
  for (const element of svg.querySelectorAll(bad)) element.remove();
  for (const element of [svg, ...svg.querySelectorAll("*")]) {
    for (const { name, value } of [...element.attributes]) {
      if (/^on/i.test(name) || name === "style" || (/href$/i.test(name) && !value.startsWith("#"))) element.removeAttribute(name);
      // The drawing's ids must not meet the page's.
      else if (name === "id") element.id = `drawn-${value}`;
      else if (/url\(#/.test(value)) element.setAttribute(name, value.replaceAll("url(#", "url(#drawn-"));
      else if (/href$/i.test(name)) element.setAttribute(name, `#drawn-${value.slice(1)}`);
    }
  }
  svg.removeAttribute("width");
  svg.removeAttribute("height");
  svg.setAttribute("preserveAspectRatio", "xMidYMid meet");
  return svg;
}

export class Drawing {
  constructor(place) {
    this.place = place;
    this.sha = null;
  }

  /// Shows the drawing with that SHA-256; true once it is another than before.
  async show(sha) {
    if ((sha ?? "") === this.sha) return false;
    this.sha = sha ?? "";
    this.place.replaceChildren();
    if (!sha) return true;
    try {
      const response = await fetch(`/api/v1/drawings/${sha}`);
      if (!response.ok || sha !== this.sha) throw new Error(String(response.status));
      const text = await response.text();
      const parsed = new DOMParser().parseFromString(text, "image/svg+xml").documentElement;
      if (parsed.nodeName === "svg" && sha === this.sha) this.place.replaceChildren(document.importNode(make_harmless(parsed), true));
    } catch {
      if (sha === this.sha) this.sha = null;  // asked for again with the next view
    }
    return true;
  }

  edge(name) {
    if (!name) return null;
    return this.place.querySelector(`[id="drawn-${CSS.escape(name)}"], [id="drawn-edge-${CSS.escape(name)}"]`);
  }

  strengthen(now, past) {
    for (const element of this.place.querySelectorAll(".edge.now, .edge.past")) element.classList.remove("now", "past");
    if (past) past.classList.add("past");
    if (now) {
      now.classList.remove("past");
      now.classList.add("now");
    }
  }
}
