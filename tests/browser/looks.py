"""How a page or a panel looks, asked of the browser: what axe finds, which words lie on each other, what reaches out of its box."""

from __future__ import annotations

import pytest

FIGURES = "figure svg"


def axe_finds(page, inside="html", **options):
    """published: the rules of axe-core (WCAG 2.1 A and AA, and common practice); rule and the first piece of each finding."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    found = axe.Axe().run(page, context=inside, options=options or None)
    return [(one["id"], one["nodes"][0]["html"][:160]) for one in found.response["violations"]]


def words_that_collide(page, figures=FIGURES):
    """Words of figures that reach out of their figure, and pairs that lie on each other [px, by a few]."""
    return page.evaluate(
        """figures => {
            const outside = [], met = [];
            for (const svg of document.querySelectorAll(figures)) {
                const frame = svg.getBoundingClientRect();
                const texts = [...svg.querySelectorAll('text')].filter(text => text.textContent.trim());
                const boxes = texts.map(text => text.getBoundingClientRect());
                texts.forEach((text, i) => {
                    const own = boxes[i];
                    if (own.left < frame.left - 1 || own.right > frame.right + 1 || own.top < frame.top - 1
                        || own.bottom > frame.bottom + 1) outside.push(text.textContent);
                    boxes.slice(i + 1).forEach((other, j) => {
                        if (Math.min(own.right, other.right) - Math.max(own.left, other.left) > 1
                            && Math.min(own.bottom, other.bottom) - Math.max(own.top, other.top) > 4)
                            met.push([text.textContent, texts[i + 1 + j].textContent]);
                    });
                });
            }
            return [outside, met];
        }""",
        figures,
    )


def beyond(page):
    """What reaches out of the page at the right, but for what is in a box that scrolls."""
    return page.evaluate(
        """() => [...document.querySelectorAll('body *')]
            .filter(e => !e.closest('.scroll *, .formula *, pre *') && !e.closest('.skip'))
            .filter(e => e.getBoundingClientRect().right > innerWidth + 1).map(e => e.outerHTML.slice(0, 80))"""
    )
