"""The tables of the catalog as they are now; `daemon/migrations` holds the steps that led here."""

import sqlalchemy as sa

TABLES = sa.MetaData()
JOBS = sa.Table(
    "jobs",
    TABLES,
    sa.Column("job", sa.Integer, primary_key=True, autoincrement=False),
    sa.Column("number", sa.Text, nullable=False),
    sa.Column("unit", sa.Text, nullable=False),
    sa.Column("bay", sa.Text, nullable=False),
    sa.Column("plan_name", sa.Text, nullable=False),
    sa.Column("plan_text", sa.Text, nullable=False),
    sa.Column("limits", sa.JSON, nullable=False),
    sa.Column("started_ns", sa.BigInteger, nullable=False),
    sa.Column("ended_ns", sa.BigInteger),
    sa.Column("verdict", sa.Text),
    sa.Column("reasons", sa.JSON, nullable=False),
    sa.Column("figures", sa.JSON, nullable=False),
    sa.Column("booking", sa.Integer, index=True),
    sa.Column("calibrations", sa.JSON),
)
#: when a job's plan stood still for a person; ``until_s`` is null while it does, and where the soak ended so
WAITS = sa.Table(
    "waits",
    TABLES,
    sa.Column("wait", sa.Integer, primary_key=True),
    sa.Column("job", sa.Integer, sa.ForeignKey("jobs.job", name="fk_waits_job"), nullable=False),
    sa.Column("phase", sa.Integer, nullable=False),
    sa.Column("at_s", sa.Double, nullable=False),
    sa.Column("until_s", sa.Double),
    sa.UniqueConstraint("job", "phase", name="uq_waits"),
)
FINDINGS = sa.Table(
    "findings",
    TABLES,
    sa.Column("finding", sa.Integer, primary_key=True),
    sa.Column("job", sa.Integer, sa.ForeignKey("jobs.job", name="fk_findings_job"), nullable=False, index=True),
    sa.Column("at_s", sa.Double, nullable=False),
    sa.Column("time_ns", sa.BigInteger, nullable=False),
    sa.Column("bay", sa.Text, nullable=False),
    sa.Column("rule", sa.Text, nullable=False),
    sa.Column("event", sa.Text, nullable=False),
    sa.Column("priority", sa.Text, nullable=False),
    sa.Column("value", sa.Double),
    sa.Column("limit", sa.Double),
    sa.Column("unit", sa.Text, nullable=False),
    sa.Column("text", sa.Text, nullable=False),
)
ALERT = sa.Table(
    "alert",
    TABLES,
    sa.Column("id", sa.BigInteger, primary_key=True, autoincrement=False),
    sa.Column("bay", sa.Text, nullable=False),
    sa.Column("rule", sa.Text, nullable=False),
    sa.Column("subject", sa.Text, nullable=False),
    sa.Column("priority", sa.Text, nullable=False),
    sa.Column("state", sa.Text, nullable=False, index=True),
    sa.Column("beneath", sa.Text, nullable=False),
    sa.Column("job", sa.Integer),
    sa.Column("cause", sa.BigInteger),
    sa.Column("raised_ns", sa.BigInteger, nullable=False),
    sa.Column("returned_ns", sa.BigInteger),
    sa.Column("shelved_until_ns", sa.BigInteger),
    sa.Column("text", sa.Text, nullable=False),
    sa.Column("value", sa.Double),
    sa.Column("limit_value", sa.Double),
    sa.Column("unit", sa.Text, nullable=False),
)
ALERT_CHANGE = sa.Table(
    "alert_change",
    TABLES,
    sa.Column("id", sa.BigInteger, primary_key=True, autoincrement=False),
    sa.Column("alert", sa.BigInteger, sa.ForeignKey("alert.id", name="fk_alert_change"), nullable=False, index=True),
    sa.Column("time_ns", sa.BigInteger, nullable=False, index=True),
    sa.Column("change", sa.Text, nullable=False),
    sa.Column("state", sa.Text, nullable=False),
    sa.Column("priority", sa.Text, nullable=False),
    sa.Column("told", sa.Boolean, nullable=False),
    sa.Column("person", sa.Text, nullable=False),
    sa.Column("note", sa.Text, nullable=False),
    sa.Column("text", sa.Text, nullable=False),
)
#: one row: the highest alert id that any run may have given out, kept ahead of its use
ALERT_IDS = sa.Table("alert_ids", TABLES, sa.Column("last", sa.BigInteger, primary_key=True, autoincrement=False))
#: one message to one target: waiting, done, failed (given up), or needless (dealt with before it went out)
DELIVERY = sa.Table(
    "delivery",
    TABLES,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("target", sa.Text, nullable=False),
    sa.Column("change", sa.BigInteger, sa.ForeignKey("alert_change.id", name="fk_delivery_change"), nullable=False),
    sa.Column("escalation", sa.Boolean, nullable=False),
    sa.Column("state", sa.Text, nullable=False, index=True),
    sa.Column("tries", sa.Integer, nullable=False),
    sa.Column("next_try_ns", sa.BigInteger, nullable=False),
    sa.Column("ended_ns", sa.BigInteger),
    sa.Column("last_error", sa.Text, nullable=False),
    sa.UniqueConstraint("target", "change", name="uq_delivery"),
)
#: one row: the deliveries of all changes up to this one are booked
DELIVERY_BOOKED = sa.Table(
    "delivery_booked", TABLES, sa.Column("change", sa.BigInteger, primary_key=True, autoincrement=False)
)
#: the digest of each sealed file that was ever written of a job; the newest is the one in the folder
SEALS = sa.Table(
    "seals",
    TABLES,
    sa.Column("seal", sa.Integer, primary_key=True),
    sa.Column("job", sa.Integer, sa.ForeignKey("jobs.job", name="fk_seals_job"), nullable=False),
    sa.Column("sha256", sa.Text, nullable=False, index=True),
    sa.Column("bytes", sa.BigInteger, nullable=False),
    sa.Column("frames", sa.BigInteger, nullable=False),
    sa.Column("sealed_ns", sa.BigInteger, nullable=False),
    sa.UniqueConstraint("job", "sha256", name="uq_seals"),
)
#: a unit that is booked in; ``set_up`` is what its sheet says of devices and power
BOOKING = sa.Table(
    "booking",
    TABLES,
    sa.Column("booking", sa.Integer, primary_key=True),
    sa.Column("number", sa.Text, nullable=False),
    sa.Column("unit", sa.Text, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("serial", sa.Text, nullable=False),
    sa.Column("device_type", sa.Text, nullable=False),
    sa.Column("lot", sa.Text, nullable=False),
    sa.Column("bias_method", sa.Text, nullable=False),
    sa.Column("rth_jc_k_w", sa.Double),
    sa.Column("rth_cs_k_w", sa.Double),
    sa.Column("tj_max_c", sa.Double),
    sa.Column("set_up", sa.JSON, nullable=False),
    sa.Column("booked_ns", sa.BigInteger, nullable=False),
    sa.Column("changed_ns", sa.BigInteger, nullable=False),
    sa.UniqueConstraint("number", "unit", name="uq_booking"),
)
#: apart from the booking, so that it can be erased
CUSTOMER = sa.Table(
    "customer",
    TABLES,
    sa.Column("booking", sa.Integer, sa.ForeignKey("booking.booking", name="fk_customer_booking"), primary_key=True),
    sa.Column("name", sa.Text, nullable=False),
)
#: the library that a workshop keeps for itself
DEVICE_TYPE = sa.Table(
    "device_type",
    TABLES,
    sa.Column("name", sa.Text, primary_key=True),
    sa.Column("rth_jc_k_w", sa.Double),
    sa.Column("rth_cs_k_w", sa.Double),
    sa.Column("tj_max_c", sa.Double),
    sa.Column("note", sa.Text, nullable=False),
)
#: a channel's correction; the newest of a bay's channel is in force, the others are its history
CALIBRATION = sa.Table(
    "calibration",
    TABLES,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("bay", sa.Text, nullable=False),
    sa.Column("channel", sa.Text, nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("points", sa.JSON, nullable=False),
    sa.Column("reference", sa.Text, nullable=False),
    sa.Column("u_reference", sa.Double, nullable=False),
    sa.Column("intercept", sa.Double),  # of a line, as all up to freedom
    sa.Column("slope", sa.Double),
    sa.Column("pivot", sa.Double),
    sa.Column("u_intercept", sa.Double),
    sa.Column("u_slope", sa.Double),
    sa.Column("correlation", sa.Double),
    sa.Column("residual", sa.Double),
    sa.Column("freedom", sa.Integer),
    sa.Column("made_ns", sa.BigInteger, nullable=False),
    sa.Column("due", sa.Date),
    sa.Column("who", sa.Text, nullable=False),
    sa.Column("note", sa.Text, nullable=False),
    sa.Index("ix_calibration_channel", "bay", "channel"),
)
