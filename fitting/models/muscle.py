import uuid

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from fitting.managers import MuscleRecordingQuerySet, StandingLimbRowQuerySet
from fitting.models.visit import Visit


class MuscleSite(models.Model):
    """Where an electrode was placed, so that it can be found again. A new row supersedes an old one; none is edited."""

    class Muscle(models.TextChoices):
        WRIST_EXTENSORS = "wrist_extensors", _("wrist extensors")
        WRIST_FLEXORS = "wrist_flexors", _("wrist flexors")
        BRACHIORADIALIS = "brachioradialis", _("brachioradialis")
        PRONATOR_TERES = "pronator_teres", _("pronator teres")
        SUPINATOR = "supinator", _("supinator")
        THENAR = "thenar", _("thenar muscles")
        HYPOTHENAR = "hypothenar", _("hypothenar muscles")
        BICEPS = "biceps", _("biceps brachii")
        TRICEPS = "triceps", _("triceps brachii")
        DELTOID_ANTERIOR = "deltoid_anterior", _("deltoid, anterior part")
        DELTOID_MIDDLE = "deltoid_middle", _("deltoid, middle part")
        DELTOID_POSTERIOR = "deltoid_posterior", _("deltoid, posterior part")
        TRAPEZIUS_UPPER = "trapezius_upper", _("trapezius, upper part")
        INFRASPINATUS = "infraspinatus", _("infraspinatus")
        LATISSIMUS = "latissimus", _("latissimus dorsi")
        PECTORALIS = "pectoralis", _("pectoralis major")

    class Landmark(models.TextChoices):
        MEDIAL_EPICONDYLE = "medial_epicondyle", _("medial epicondyle")
        LATERAL_EPICONDYLE = "lateral_epicondyle", _("lateral epicondyle")
        OLECRANON = "olecranon", _("olecranon")
        CUBITAL_FOLD = "cubital_fold", _("cubital fold")
        ULNAR_STYLOID = "ulnar_styloid", _("ulnar styloid")
        ACROMION = "acromion", _("acromion")
        AXILLA = "axilla", _("axilla")
        STERNAL_NOTCH = "sternal_notch", _("sternal notch")
        SCAPULAR_SPINE = "scapular_spine", _("spine of the scapula")

    class Orientation(models.TextChoices):
        ALONG = "along", _("along the muscle fibres")
        OBLIQUE = "oblique", _("oblique to the muscle fibres")
        ACROSS = "across", _("across the muscle fibres")

    class SkinPreparation(models.TextChoices):
        WATER = "water", _("water")
        ALCOHOL = "alcohol", _("alcohol wipe, dried")
        ABRASIVE = "abrasive", _("abrasive gel")
        GEL = "gel", _("electrode gel")
        NOTHING = "nothing", _("nothing")

    limb = models.ForeignKey(
        "patients.Limb", on_delete=models.PROTECT, related_name="muscle_sites", verbose_name=_("limb")
    )
    muscle = models.CharField(_("muscle"), max_length=20, choices=Muscle)
    landmark = models.CharField(_("distance from"), max_length=20, choices=Landmark)
    distance_mm = models.FloatField(_("distance from the landmark [mm]"), validators=[MinValueValidator(0)])
    residual_length_mm = models.FloatField(_("residual length that day [mm]"), null=True, blank=True)
    clock_hour = models.FloatField(
        _("clock position"), validators=[MinValueValidator(0.5), MaxValueValidator(12)], null=True, blank=True
    )
    spacing_mm = models.FloatField(_("electrode spacing, centre to centre [mm]"), validators=[MinValueValidator(1)])
    orientation = models.CharField(_("orientation"), max_length=8, choices=Orientation, default=Orientation.ALONG)
    electrode = models.CharField(_("electrode, type and number"), max_length=80)
    gain = models.CharField(_("gain setting"), max_length=40, blank=True)
    posture = models.CharField(
        _("posture"), max_length=20, choices=Visit.Posture, default=Visit.Posture.SEATED_ELBOW_90
    )
    skin_preparation = models.CharField(
        _("skin preparation"), max_length=8, choices=SkinPreparation, default=SkinPreparation.ALCOHOL
    )
    photo = models.FileField(_("photo"), upload_to="muscle_photos/", blank=True)
    note = models.CharField(_("note"), max_length=300, blank=True)
    on = models.DateField(_("date"))
    observer = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", verbose_name=_("observer")
    )
    supersedes = models.OneToOneField(
        "self", on_delete=models.PROTECT, related_name="superseded_by", null=True, blank=True, editable=False
    )
    why = models.CharField(_("why it changed"), max_length=300, blank=True)
    submission = models.UUIDField(unique=True, default=uuid.uuid4, editable=False)
    recorded_at = models.DateTimeField(editable=False)

    objects = StandingLimbRowQuerySet.as_manager()

    class Meta:
        verbose_name = _("muscle site")
        verbose_name_plural = _("muscle sites")
        ordering = ["limb", "muscle", "-on"]
        constraints = [
            models.CheckConstraint(condition=Q(supersedes__isnull=True) | ~Q(why=""), name="moved_site_says_why")
        ]

    def __str__(self):
        return str(self.get_muscle_display())


class MuscleRecording(models.Model):
    """One recording: the file as it came, what was said about it, and its figures once a worker has read it."""

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting for the worker")
        READING = "reading", _("reading the file")
        COMPUTING = "computing", _("computing")
        DONE = "done", _("done")
        UNREADABLE = "unreadable", _("the file could not be read")
        DIED = "died", _("the worker stopped twice on this file")

    class TimeUnit(models.TextChoices):
        S = "s", _("seconds")
        MS = "ms", _("milliseconds")

    class Unit(models.TextChoices):
        UV = "uV", _("microvolts")
        MV = "mV", _("millivolts")
        V = "V", _("volts")
        COUNTS = "counts", _("converter steps")

    UNFINISHED = frozenset({State.WAITING, State.READING, State.COMPUTING})

    limb = models.ForeignKey(
        "patients.Limb", on_delete=models.PROTECT, related_name="muscle_recordings", verbose_name=_("limb")
    )
    site = models.ForeignKey(
        MuscleSite, on_delete=models.PROTECT, related_name="recordings", verbose_name=_("site of the first channel")
    )
    second_site = models.ForeignKey(
        MuscleSite,
        on_delete=models.PROTECT,
        related_name="+",
        null=True,
        blank=True,
        verbose_name=_("site of the second channel"),
    )
    on = models.DateField(_("recorded on"))
    file = models.FileField(_("file"), upload_to="muscle_recordings/")
    file_name = models.CharField(_("name of the file"), max_length=200)
    sha256 = models.CharField(max_length=64, editable=False)
    size_bytes = models.PositiveIntegerField(editable=False)
    time_unit = models.CharField(_("time is in"), max_length=2, choices=TimeUnit, default=TimeUnit.S)
    unit = models.CharField(_("signal is in"), max_length=6, choices=Unit, default=Unit.MV)
    mv_per_count = models.FloatField(
        _("millivolts a converter step"), validators=[MinValueValidator(1e-9)], null=True, blank=True
    )
    cues = models.JSONField(_("cues"), default=list, blank=True)
    visual_feedback = models.BooleanField(_("the child saw the signal while flexing"), default=False)
    note = models.CharField(_("note"), max_length=300, blank=True)
    state = models.CharField(_("state"), max_length=10, choices=State, default=State.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0, editable=False)
    touched_at = models.DateTimeField(editable=False)
    error = models.JSONField(default=dict, editable=False)
    result = models.JSONField(default=dict, editable=False)
    supersedes = models.OneToOneField(
        "self", on_delete=models.PROTECT, related_name="superseded_by", null=True, blank=True, editable=False
    )
    submission = models.UUIDField(unique=True, default=uuid.uuid4, editable=False)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", verbose_name=_("recorded by")
    )
    recorded_at = models.DateTimeField(editable=False)

    objects = MuscleRecordingQuerySet.as_manager()

    class Meta:
        verbose_name = _("muscle recording")
        verbose_name_plural = _("muscle recordings")
        ordering = ["limb", "-on", "-pk"]
        indexes = [models.Index(fields=["state", "touched_at"], name="muscle_unfinished")]

    def __str__(self):
        return f"{self.limb} {self.on:%Y-%m-%d}"

    def site_of(self, channel: int) -> MuscleSite | None:
        return self.second_site if channel else self.site


class LevelSettings(models.Model):
    """What the device is set to for one muscle: boundaries, hysteresis, debounce, a gesture for each level."""

    class Grip(models.TextChoices):
        OPEN = "open", _("open")
        POWER = "power", _("power grip")
        POINT = "point", _("point")
        TRIPOD = "tripod", _("tripod grip")
        LATERAL = "lateral", _("lateral grip")
        STILL = "still", _("stay still")

    limb = models.ForeignKey(
        "patients.Limb", on_delete=models.PROTECT, related_name="level_settings", verbose_name=_("limb")
    )
    recording = models.ForeignKey(
        MuscleRecording, on_delete=models.PROTECT, related_name="level_settings", verbose_name=_("recording")
    )
    channel = models.PositiveSmallIntegerField(_("channel"), validators=[MaxValueValidator(1)])
    levels = models.JSONField(_("levels"))
    boundaries = models.JSONField(_("boundaries"))
    unit = models.CharField(_("unit"), max_length=6)
    full_scale = models.FloatField(_("full scale"))
    hysteresis_ln = models.FloatField(_("hysteresis"))
    debounce_ms = models.PositiveSmallIntegerField(_("debounce [ms]"))
    gestures = models.JSONField(_("gestures"))
    typed = models.BooleanField(_("boundaries set by hand"), default=False)
    note = models.CharField(_("note"), max_length=300, blank=True)
    on = models.DateField(_("set on"))
    set_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", verbose_name=_("set by")
    )
    supersedes = models.OneToOneField(
        "self", on_delete=models.PROTECT, related_name="superseded_by", null=True, blank=True, editable=False
    )
    recorded_at = models.DateTimeField(editable=False)

    objects = StandingLimbRowQuerySet.as_manager()

    class Meta:
        verbose_name = _("level settings")
        verbose_name_plural = _("level settings")
        ordering = ["limb", "-on", "-pk"]
        constraints = [
            models.CheckConstraint(condition=Q(full_scale__gt=0), name="full_scale_is_positive"),
            models.CheckConstraint(condition=Q(hysteresis_ln__gte=0), name="hysteresis_not_negative"),
        ]

    def __str__(self):
        return f"{self.recording.site_of(self.channel)} {self.on:%Y-%m-%d}"
