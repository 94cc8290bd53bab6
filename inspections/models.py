"""What was looked at, what was found, what is fitted, and the verdict of the judge."""

from django.db import models

from fleetcare.kernel.grades import Grade
from fleetcare.support.documents import DocumentField
from fleetcare.support.tenancy import TenantModel
from inspections.words import ChangeKind, FactorLesson, InspectionState, Lesson, PhotoOf, Removal

GRADE_CHOICES = [(int(grade), grade.word) for grade in Grade]


class Inspection(TenantModel):
    """One look at one vehicle. A draft gathers results; completing it changes findings and condition."""

    vehicle = models.ForeignKey("fleet.Vehicle", models.CASCADE, related_name="inspections", db_index=False)
    # Not to be deleted by itself, and no obstacle when the whole vehicle goes.
    reading = models.ForeignKey("fleet.OdometerReading", models.RESTRICT, related_name="+")
    inspected_on = models.DateField()
    sheet = models.CharField(max_length=60)
    inspector = models.CharField(max_length=120, blank=True)
    note = models.TextField(blank=True)
    trouble_codes = models.JSONField(default=list)
    state = models.CharField(max_length=12, choices=InspectionState, default=InspectionState.COMPLETED)
    content_digest = models.CharField(max_length=64, blank=True)
    entered_by = models.CharField(max_length=45)
    created_at = models.DateTimeField(auto_now_add=True)
    completed_at = models.DateTimeField(null=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        indexes = [models.Index(fields=["fleet", "vehicle", "inspected_on", "id"], name="inspection_by_vehicle")]
        constraints = [
            models.UniqueConstraint(
                fields=["fleet", "vehicle", "content_digest"],
                condition=models.Q(state=InspectionState.COMPLETED),
                name="inspection_not_repeated",
            )
        ]


class Result(TenantModel):
    """What one check found at one position. `grade` is empty exactly where it was not examined, with the reason."""

    inspection = models.ForeignKey(Inspection, models.CASCADE, related_name="results", db_index=False)
    check_key = models.CharField(max_length=100)
    position = models.CharField(max_length=40, blank=True)
    grade = models.PositiveSmallIntegerField(null=True, choices=GRADE_CHOICES)
    value = models.FloatField(null=True)
    observations = models.JSONField(default=list)
    note = models.TextField(blank=True)
    not_examined = models.CharField(max_length=200, blank=True)
    recorded_at = models.DateTimeField(null=True)
    """When it was said; of two words about one check the later one stands. Empty: with the inspection itself."""
    same_as_last = models.BooleanField(default=False)
    """Not looked at afresh in every detail, but found as it was last time."""

    class Meta:
        # The unique constraint leads with the fleet; counting the results of an inspection joins by it alone.
        indexes = [models.Index(fields=["inspection"], name="result_by_inspection")]
        constraints = [
            models.UniqueConstraint(fields=["fleet", "inspection", "check_key", "position"], name="result_once"),
            models.CheckConstraint(
                condition=models.Q(grade__isnull=False, not_examined="")
                | (models.Q(grade__isnull=True) & ~models.Q(not_examined="")),
                name="result_graded_or_not_examined",
            ),
        ]


class ResultEntry(TenantModel):
    """One word said about a check while an inspection was a draft, under the id that the device gave it.

    A repeated id is the same word. What a later word overtook is kept here, so that nobody's work is lost.
    """

    inspection = models.ForeignKey(Inspection, models.CASCADE, related_name="entries", db_index=False)
    check_key = models.CharField(max_length=100)
    position = models.CharField(max_length=40, blank=True)
    said = models.JSONField()
    """Grade, value, observations, note, not_examined, same_as_last: as the result then was."""
    recorded_at = models.DateTimeField()
    received_at = models.DateTimeField(auto_now_add=True)
    actor = models.CharField(max_length=45)
    device = models.CharField(max_length=36, blank=True)

    class Meta:
        indexes = [models.Index(fields=["fleet", "inspection", "recorded_at"], name="entry_by_inspection")]


class Photo(TenantModel):
    """A picture of a vehicle, drawn anew from what was sent: upright, without metadata, with a small copy.

    `fingerprint` is of the place and the sent bytes: the same picture sent again to the same place is the same row.
    """

    vehicle = models.ForeignKey("fleet.Vehicle", models.CASCADE, related_name="photos", db_index=False)
    inspection = models.ForeignKey(Inspection, models.CASCADE, null=True, related_name="photos", db_index=False)
    check_key = models.CharField(max_length=100, blank=True)
    position = models.CharField(max_length=40, blank=True)
    subject_kind = models.CharField(max_length=12, choices=PhotoOf, default=PhotoOf.RESULT)
    subject_id = models.UUIDField(null=True)
    """The job that it was taken before or after."""
    note = models.CharField(max_length=500, blank=True)
    taken_on = models.DateField(null=True)
    """The day the camera wrote into the picture, if it wrote one."""
    picture = models.CharField(max_length=120)
    thumbnail = models.CharField(max_length=120)
    """Names of kept files."""
    width_px = models.PositiveIntegerField()
    height_px = models.PositiveIntegerField()
    size_bytes = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    """Of the picture as it is kept: what its ETag and an export are checked by."""
    fingerprint = models.CharField(max_length=64)
    entered_by = models.CharField(max_length=45)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["fleet", "vehicle", "fingerprint"], name="photo_once")]
        indexes = [
            models.Index(fields=["fleet", "vehicle", "created_at", "id"], name="photo_by_vehicle"),
            models.Index(fields=["fleet", "inspection", "check_key", "position"], name="photo_by_inspection"),
            models.Index(fields=["picture"], name="photo_by_picture"),
            models.Index(fields=["thumbnail"], name="photo_by_thumbnail"),
        ]


class Finding(TenantModel):
    """A defect that stays open over inspections until a job or a fresh look closes it."""

    vehicle = models.ForeignKey("fleet.Vehicle", models.CASCADE, related_name="findings", db_index=False)
    check_key = models.CharField(max_length=100)
    part_key = models.CharField(max_length=60)
    position = models.CharField(max_length=40, blank=True)
    grade = models.PositiveSmallIntegerField(choices=GRADE_CHOICES)
    opened_on = models.DateField()
    seen_on = models.DateField()
    seen_in = models.ForeignKey(Inspection, models.RESTRICT, related_name="+", db_index=False)
    closed_on = models.DateField(null=True)
    closed_because = models.CharField(max_length=200, blank=True)
    dismissed = models.BooleanField(default=False)
    """It was none after all: what was seen then counts as not seen."""
    remedied_total_km = models.DecimalField(max_digits=10, decimal_places=3, null=True)
    """Where a job put it right without renewing the part: from then on the part counts as seen sound, at its age."""
    deferred_until = models.DateField(null=True)
    deferred_because = models.CharField(max_length=200, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        indexes = [models.Index(fields=["fleet", "vehicle", "closed_on", "-grade"], name="finding_by_vehicle")]
        constraints = [
            models.UniqueConstraint(
                fields=["fleet", "vehicle", "check_key", "position"],
                condition=models.Q(closed_on=None),
                name="finding_open_once",
            ),
            models.CheckConstraint(condition=models.Q(grade__gte=1), name="finding_is_a_defect"),
        ]


class FindingChange(TenantModel):
    """One step in the history of a finding."""

    finding = models.ForeignKey(Finding, models.CASCADE, related_name="changes", db_index=False)
    inspection = models.ForeignKey(Inspection, models.CASCADE, null=True, related_name="+", db_index=False)
    kind = models.CharField(max_length=12, choices=ChangeKind)
    grade = models.PositiveSmallIntegerField(choices=GRADE_CHOICES)
    happened_on = models.DateField()
    because = models.CharField(max_length=200, blank=True)
    actor = models.CharField(max_length=45)

    class Meta:
        indexes = [models.Index(fields=["fleet", "finding", "happened_on"], name="change_by_finding")]


class FittedPart(TenantModel):
    """A part from when it was fitted until it came off. Where there is no row the part is as bought."""

    vehicle = models.ForeignKey("fleet.Vehicle", models.CASCADE, related_name="fitted_parts", db_index=False)
    part_key = models.CharField(max_length=60)
    position = models.CharField(max_length=40, blank=True)
    fitted_on = models.DateField(null=True)
    fitted_total_km = models.DecimalField(max_digits=10, decimal_places=3, null=True)
    removed_on = models.DateField(null=True)
    removed_total_km = models.DecimalField(max_digits=10, decimal_places=3, null=True)
    removal = models.CharField(max_length=16, choices=Removal, blank=True)
    description = models.CharField(max_length=120, blank=True)
    part_number = models.CharField(max_length=60, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["fleet", "vehicle", "part_key", "position"],
                condition=models.Q(removed_on=None),
                name="part_fitted_once",
            ),
        ]
        indexes = [models.Index(fields=["fleet", "vehicle", "part_key", "position"], name="fitted_by_vehicle")]


class Assessment(TenantModel):
    """The judge's verdict on a vehicle as it was answered, and a digest of what it rests on."""

    vehicle = models.OneToOneField("fleet.Vehicle", models.CASCADE, related_name="assessment")
    as_of = models.DateField()
    revision = models.PositiveIntegerField()
    digest = models.CharField(max_length=64)
    condition = DocumentField()


class ScorePoint(TenantModel):
    """The history of a vehicle's score: one point a day on which it changed."""

    vehicle = models.ForeignKey("fleet.Vehicle", models.CASCADE, related_name="score_points", db_index=False)
    as_of = models.DateField()
    score = models.FloatField()
    score_low = models.FloatField()
    score_high = models.FloatField()
    coverage_fraction = models.FloatField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["fleet", "vehicle", "as_of"], name="score_point_once")]


class LearnedLife(TenantModel):
    """How long a kind of part lasts in this fleet; distances are km of the part's clock. Counts: what it rests on."""

    part_key = models.CharField(max_length=60)
    fitted_at = models.DateTimeField()
    life_km = models.FloatField()
    low_km = models.FloatField()
    high_km = models.FloatField()
    life_cv = models.FloatField()
    factor = models.FloatField()
    """The life over the catalogue's."""
    lesson = models.CharField(max_length=20, choices=Lesson)
    failed = models.PositiveIntegerField()
    worn_out = models.PositiveIntegerField()
    renewed_early = models.PositiveIntegerField()
    in_service = models.PositiveIntegerField()
    reason_unknown = models.PositiveIntegerField()
    date_unknown = models.PositiveIntegerField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["fleet", "part_key"], name="learned_life_once")]


class LearnedFactor(TenantModel):
    """How much longer or shorter parts last on this fleet's vehicles of one model than its lives say."""

    make_key = models.CharField(max_length=180)
    model_key = models.CharField(max_length=180)
    """Make and model as they are compared: case and spaces do not count."""
    make = models.CharField(max_length=60)
    model = models.CharField(max_length=60)
    fitted_at = models.DateTimeField()
    factor = models.FloatField()
    low = models.FloatField()
    high = models.FloatField()
    lesson = models.CharField(max_length=20, choices=FactorLesson)
    vehicles = models.PositiveIntegerField()
    records = models.PositiveIntegerField()
    ended = models.PositiveIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["fleet", "make_key", "model_key"], name="learned_factor_once"),
            models.CheckConstraint(condition=models.Q(factor__gt=0.0), name="learned_factor_positive"),
        ]


class LearningRound(models.Model):
    """When lives were last asked for in a fleet, and a digest of what the stored ones rest on. Workers only."""

    fleet = models.OneToOneField("fleet.Fleet", models.CASCADE, primary_key=True, related_name="learning_round")
    asked_at = models.DateTimeField(db_index=True)
    digest = models.CharField(max_length=64, blank=True)
