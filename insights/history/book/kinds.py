"""What kinds of records the book keeps beside its jobs; each kind's name is written here only."""

from __future__ import annotations

SETTINGS = "settings"
"""What holds for the whole book; one record, under the key :data:`WHOLE_BOOK`."""

WHOLE_BOOK = "book"

SAME_UNIT = "same_unit"
"""A person's decision on a doubtful pair: ``job_id``, ``earlier_job_id``, ``same``."""

SHEET = "sheet"
"""A model's sheet, under the model: what :class:`insights.bench.sheets.ModelSheet` writes."""

INSTRUMENT = "instrument"
"""An instrument, under its name: what :class:`insights.bench.sheets.Instrument` writes."""

LIMIT = "limit"
"""A limit of a final reading, under its ``key``: what :class:`insights.bench.readings.Limit`
writes."""

SECOND_CODING = "second_coding"
"""A second person's coding of a comeback, under its job: what
:func:`insights.bench.second_coding.keep_second_coding` writes."""

PRINTED = "printed"
"""What is printed for every customer, under :data:`WHOLE_BOOK`: what
:class:`insights.bench.kept.Printed` holds."""

REFUSED = "refused"
"""A row of a file that could not be used, kept to be mended, under a fingerprint of its cells: what
:func:`insights.history.book.refused.body_of` writes."""

CODED_TWICE = "coded_twice"
"""How many comebacks are coded twice, as a ``share``; under :data:`WHOLE_BOOK`."""

RETENTION = "retention"
"""How long customers' data are kept, under :data:`WHOLE_BOOK`: ``days``."""

WATCH = "watch"
"""What is watched, under :data:`WHOLE_BOOK`: ``dangerous`` root causes, ``false_alarms_a_year``."""

SIGNAL_ACTION = "signal_action"
"""What was done about a signal, under its chart and day: ``chart``, ``date``, ``done``,
``chance``."""

CALL_IN = "call_in"
"""How far the call about a unit is, under its chart and job: ``chart``, ``job_id``, ``status``."""

MAIL = "mail"
"""How the monthly summary is mailed, under :data:`WHOLE_BOOK`: what
:class:`insights.mail.settings.MailSettings` holds; a password is never among it."""

MONTH_MAILED = "month_mailed"
"""How far the mail of a month's summary is, under the month: ``state``, ``at``, ``to``."""

CALL_BACK = "call_back"
"""An owner drawn to be asked, under the unit's job: ``drawn_on``, ``answer`` (empty: not yet)."""
