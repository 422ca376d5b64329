"""What the computation refuses to do, in sentences a page can show."""


class DoorpostError(ValueError):
    """A request the computation cannot answer; the text is one plain sentence."""


class BadReference(DoorpostError):
    """A reference table that does not say where it comes from, or cannot be read."""


class OutOfReference(DoorpostError):
    """An age no reference table covers.

    measure: name of the measure asked for
    first_months, last_months: ages covered [months]; asked_months: age asked [months]
    """

    def __init__(self, measure, first_months, last_months, asked_months):
        self.measure = measure
        self.first_months = float(first_months)
        self.last_months = float(last_months)
        self.asked_months = float(asked_months)
        super().__init__(
            f"The reference for {measure} covers {self.first_months:g} to {self.last_months:g} months of age; "
            f"{self.asked_months:.1f} months is outside it."
        )
