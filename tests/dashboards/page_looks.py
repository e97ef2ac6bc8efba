"""What a page looks like, measured in the browser: contrast of every visible text, size of every target."""

from __future__ import annotations

from typing import Any

# Contrast as WCAG 2.2 defines it: (L1 + 0.05) / (L2 + 0.05), L the relative luminance of sRGB. The ground of a text is
# the nearest ancestor that has one; a text on the lane of the trace is not covered by this and has no place there.
_CONTRASTS = """() => {
    function channels(colour) {
        const found = colour.match(/[\\d.]+/g).map(Number);
        return {rgb: found.slice(0, 3), alpha: found.length > 3 ? found[3] : 1};
    }
    function luminance(rgb) {
        const [r, g, b] = rgb.map(c => (c / 255 <= 0.04045 ? c / 255 / 12.92 : ((c / 255 + 0.055) / 1.055) ** 2.4));
        return 0.2126 * r + 0.7152 * g + 0.0722 * b;
    }
    function ground(element) {
        for (let at = element; at; at = at.parentElement) {
            const colour = channels(getComputedStyle(at).backgroundColor);
            if (colour.alpha === 1) return colour.rgb;
        }
        return [255, 255, 255];
    }
    const seen = [];
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (walker.nextNode()) {
        const node = walker.currentNode, element = node.parentElement;
        if (!node.textContent.trim() || !element.checkVisibility()) continue;
        if (element.closest("script, style, .unseen")) continue;
        const [a, b] = [luminance(channels(getComputedStyle(element).color).rgb), luminance(ground(element))];
        const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
        seen.push({text: node.textContent.trim().slice(0, 40), ratio: Math.round(ratio * 1000) / 1000});
    }
    return seen;
}"""

_TARGETS = """() => Array.from(document.querySelectorAll("button, a[href], input, select"))
    .filter(element => element.checkVisibility() && getComputedStyle(element).clipPath === "none")
    .map(element => ({
        text: element.textContent.trim(),
        width: element.getBoundingClientRect().width,
        height: element.getBoundingClientRect().height,
    }))"""


def contrasts(page: Any) -> list[dict[str, Any]]:
    """Each visible text with its contrast against its ground."""
    return list(page.evaluate(_CONTRASTS))


def tap_targets(page: Any) -> list[dict[str, Any]]:
    """Each visible thing that can be tapped, not clipped away until focused, with its size in CSS pixels."""
    return list(page.evaluate(_TARGETS))
