"""Settings and staff, for administrators. No child, limb or reading is ever shown here."""

from functools import wraps

from auditlog.admin import LogEntryAdmin
from auditlog.models import LogEntry
from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import redirect_to_login
from django.contrib.contenttypes.models import ContentType
from django.core.exceptions import PermissionDenied
from django.utils.decorators import method_decorator
from django.utils.translation import gettext_lazy as _
from django.views.decorators.cache import never_cache

from patients.models import RoleHeld, Staff
from patients.roles import Action


class SetupSite(admin.AdminSite):
    """The pages under /setup/: open to whoever may change settings, whatever other flags an account carries."""

    site_title = site_header = "Doorpost"
    index_title = _("Settings and staff")
    site_url = None
    enable_nav_sidebar = False

    def has_permission(self, request):
        return request.user.is_authenticated and request.user.may(Action.CHANGE_SETTINGS)

    def admin_view(self, view, cacheable=False):
        guarded = super().admin_view(view, cacheable)

        @wraps(guarded)
        def inner(request, *args, **kwargs):
            if request.user.is_authenticated and not self.has_permission(request):
                raise PermissionDenied
            return guarded(request, *args, **kwargs)

        return inner

    @method_decorator(never_cache)
    @login_not_required
    def login(self, request, extra_context=None):
        """There is one sign-in page."""
        if request.user.is_authenticated and not self.has_permission(request):
            raise PermissionDenied
        return redirect_to_login(request.GET.get("next", request.path.removesuffix("login/")), "sign_in")


setup = SetupSite(name="admin")


class SetupRights:
    """What the site lets in may be seen, entered and changed; nothing is deleted, an account is closed instead."""

    def has_module_permission(self, request):
        return self.admin_site.has_permission(request)

    def has_view_permission(self, request, obj=None):
        return self.admin_site.has_permission(request)

    def has_add_permission(self, request, obj=None):
        return self.admin_site.has_permission(request)

    def has_change_permission(self, request, obj=None):
        return self.admin_site.has_permission(request)

    def has_delete_permission(self, request, obj=None):
        return False


class RoleInline(SetupRights, admin.TabularInline):
    model = RoleHeld
    extra = 1

    def has_delete_permission(self, request, obj=None):
        return self.admin_site.has_permission(request)


@admin.register(Staff, site=setup)
class StaffAdmin(SetupRights, UserAdmin):
    list_display = ["username", "first_name", "last_name", "is_active"]
    list_filter = ["is_active", "roles_held__role", "clinics"]
    ordering = ["last_name", "first_name"]
    filter_horizontal = ["clinics"]
    inlines = [RoleInline]
    fieldsets = [
        (None, {"fields": ["username", "password"]}),
        (_("Who"), {"fields": ["first_name", "last_name", "email"]}),
        (_("Where and whether"), {"fields": ["clinics", "is_active"]}),
    ]
    add_fieldsets = [
        (None, {"fields": ["username", "password1", "password2", "first_name", "last_name", "clinics"]}),
    ]


@admin.register(LogEntry, site=setup)
class ChangeLogAdmin(SetupRights, LogEntryAdmin):
    """Who changed settings and staff, and when. Clinical rows have their history on the clinical pages."""

    def has_add_permission(self, request, obj=None):
        return False

    def has_change_permission(self, request, obj=None):
        return False

    def get_queryset(self, request):
        shown = [
            model
            for model_admin in self.admin_site._registry.values()
            for model in [model_admin.model, *(inline.model for inline in model_admin.inlines)]
        ]
        types = ContentType.objects.get_for_models(*shown).values()
        return super().get_queryset(request).filter(content_type__in=types)
