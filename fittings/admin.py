"""For support: customers can be mended here; orders and table versions, which have services, can be looked at."""

from django.contrib import admin

from fittings.models import Customer, Order, OrderChange, OrderLine, TableVersion


class LookOnly:
    def has_add_permission(self, request, obj=None):
        return False

    def has_change_permission(self, request, obj=None):
        return False

    def has_delete_permission(self, request, obj=None):
        return False


class LinesInline(LookOnly, admin.TabularInline):
    model = OrderLine
    fields = ("position", "quantity", "kind", "material", "gauge", "params", "end_a", "end_b", "tag")
    ordering = ("position", "pk")


class ChangesInline(LookOnly, admin.TabularInline):
    model = OrderChange
    fields = ("version", "fields", "made_by", "made_at")
    ordering = ("version", "pk")


@admin.register(Order)
class OrderAdmin(LookOnly, admin.ModelAdmin):
    list_display = ("number", "customer", "state", "due_on", "priority", "version")
    list_filter = ("state",)
    list_select_related = ("customer",)
    search_fields = ("number", "customer__name", "purchase_order")
    ordering = ("-pk",)
    show_full_result_count = False
    inlines = (LinesInline, ChangesInline)


@admin.register(Customer)
class CustomerAdmin(admin.ModelAdmin):
    list_display = ("name", "contact", "is_active")
    search_fields = ("name", "contact")
    ordering = ("name", "pk")

    def has_delete_permission(self, request, obj=None):
        return False


@admin.register(TableVersion)
class TableVersionAdmin(LookOnly, admin.ModelAdmin):
    list_display = ("table", "number", "note", "made_by", "made_at")
    list_filter = ("table",)
    ordering = ("table", "-number", "pk")
