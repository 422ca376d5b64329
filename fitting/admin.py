"""Clinics with their adjustable numbers, and sleeve designs. New numbers make new promises."""

from django.contrib import admin
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from fitting.models import Absence, ClinicSettings, SleeveDesign, VisitLength
from fitting.services.promises import repromise_clinic
from patients.admin import SetupRights, setup
from patients.models import Clinic


class ClinicSettingsInline(SetupRights, admin.StackedInline):
    model = ClinicSettings
    can_delete = False
    fieldsets = [
        (
            _("When a socket counts as outgrown"),
            {
                "fields": [
                    ("girth_tolerance_percent", "girth_tolerance_mm"),
                    ("end_gap_min_mm", "brim_moved_mm"),
                    ("length_excess_mm", "length_excess_percent"),
                ]
            },
        ),
        (
            _("How long things take"),
            {
                "fields": [
                    ("buffer_days", "lead_time_days", "check_lead_days"),
                    ("remeasure_days_young", "remeasure_days"),
                    ("maturing_months", "mark_limit_minutes"),
                ]
            },
        ),
        (
            _("How good a reading is"),
            {
                "fields": [
                    ("tem_stature_mm", "tem_girth_mm", "tem_length_mm", "tem_weight_kg"),
                    ("lambda_stature", "lambda_length", "lambda_girth"),
                ]
            },
        ),
        (_("Usual choices"), {"fields": ["allowance_mm", "level_bands"]}),
    ]


class VisitLengthInline(SetupRights, admin.TabularInline):
    model = VisitLength
    extra = 0


@admin.register(Clinic, site=setup)
class ClinicAdmin(SetupRights, admin.ModelAdmin):
    list_display = ["name", "time_zone", "length_unit", "phone", "out_of_hours_phone"]
    inlines = [ClinicSettingsInline, VisitLengthInline]

    def save_related(self, request, form, formsets, change):
        """Store the settings with the clinic; when they changed, forecast its limbs anew."""
        with transaction.atomic():
            super().save_related(request, form, formsets, change)
            clinic, now = form.instance, timezone.now()
            ClinicSettings.objects.get_or_create(clinic=clinic)
            if change and (
                any(formset.has_changed() for formset in formsets if formset.model is ClinicSettings)
                or "time_zone" in form.changed_data
            ):
                repromise_clinic(clinic, as_of=clinic.day_of(now), why="settings", by=request.user, now=now)


@admin.register(SleeveDesign, site=setup)
class SleeveDesignAdmin(SetupRights, admin.ModelAdmin):
    list_display = ["name", "magnets"]


@admin.register(Absence, site=setup)
class AbsenceAdmin(SetupRights, admin.ModelAdmin):
    list_display = ["staff", "first_on", "last_on"]
