"""A page of ours as a parser finds it: elements closed in the order in which they were opened."""

from html.parser import HTMLParser

VOID = {"meta", "link", "br", "hr", "img", "input"}


class Page(HTMLParser):
    """Elements in order with their attributes, and the text of each; ``text``: what a person reads."""

    def __init__(self, text):
        super().__init__()
        self.elements, self.open, self.text = [], [], []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attributes):
        entry = [tag, dict(attributes), ""]
        self.elements.append(entry)
        if tag not in VOID:
            self.open.append(entry)

    def handle_startendtag(self, tag, attributes):
        self.elements.append([tag, dict(attributes), ""])

    def handle_endtag(self, tag):
        assert self.open.pop()[0] == tag, tag

    def handle_data(self, data):
        if not self.open or self.open[-1][0] not in ("script", "style"):
            self.text.append(data)
        for entry in self.open:
            entry[2] += data

    def all(self, tag):
        return [entry for entry in self.elements if entry[0] == tag]
