"""A step that does not follow from how things stand is refused with a sentence."""


class StepError(Exception):
    """The sentence says what stands in the way; `field` names the entry it is about, if one is."""

    def __init__(self, sentence: str, field: str | None = None):
        super().__init__(sentence)
        self.field = field
