"""The shop's tables: list, grid, history, bringing a version back."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fittings import table_pages, tables
from fittings.services import table_change
from shared.problems import Conflict, NotFound, WrongInput
from shared.roles import role_required


@require_safe
@role_required("office", "supervisor")
def table_list(request):
    return render(request, "fittings/table_list.html", {"tables": table_pages.table_list()})


@role_required("office", "supervisor")
def table(request, name):
    schema = tables.schema_of(name)
    if request.method == "POST":
        return _save(request, schema)
    grid = table_pages.Grid.of_rows(schema, tables.rows(name))
    return _table_page(request, schema, grid)


def _save(request, schema):
    grid = table_pages.Grid.of_post(schema, request.POST)
    seen, note, new_rows = _seen(request), request.POST.get("note", "").strip(), grid.new_rows()
    if grid.changes_nothing(new_rows, tables.rows(schema.name)):
        messages.info(request, "Nothing was changed, so no new version was made.")
        return redirect("table", schema.name)
    try:
        version = _change(request, schema.name, new_rows, seen, note)
    except WrongInput as wrong:
        summary = grid.attach(wrong.errors)
        return _table_page(request, schema, grid, summary=summary, seen=seen, note=note, status=400)
    except Conflict as conflict:
        return _table_page(request, schema, grid, conflict=conflict, seen=seen, note=note, status=409)
    messages.success(request, f"{schema.title}: version {version.number} is in force now.")
    return redirect("table", schema.name)


def _change(request, name, rows, seen, note):
    data = {"rows": rows, "version": seen, "note": note}
    return table_change(name=name, data=data, actor=request.actor, now=timezone.now())


def _seen(request) -> int:
    text = request.POST.get("seen", "")
    return int(text) if text.isdecimal() and 0 < len(text) < 9 else 1


def _table_page(request, schema, grid, *, summary=(), conflict=None, seen=None, note="", status=200):
    history = table_pages.table_history(schema.name)
    context = {
        "schema": schema,
        "grid": grid.with_spare_rows(),
        "newest": history[0],
        "history": history,
        "seen": history[0].number if seen is None else seen,
        "note": note,
        "summary": summary,
        "conflict": conflict,
    }
    return render(request, "fittings/table.html", context, status=status)


@require_safe
@role_required("office", "supervisor")
def table_version(request, name, number):
    schema = tables.schema_of(name)
    version, newest = table_pages.table_version(name, number)
    before = table_pages.rows_before(version)
    told = table_pages.version_differences
    context = {
        "schema": schema,
        "version": version,
        "newest": newest,
        "is_first": before is None,
        "made": [] if before is None else told(schema, before, version.rows),
        "back": [] if number == newest else told(schema, tables.rows(name), version.rows),
        "rows": table_pages.old_rows(schema, version),
    }
    return render(request, "fittings/table_version.html", context)


@require_POST
@role_required("office", "supervisor")
def table_bring_back(request, name, number):
    version, newest = table_pages.table_version(name, number)
    if number == newest:
        raise NotFound(f"Version {number} is in force already.")
    note = f"Version {number} brought back"
    made = _change(request, name, version.rows, _seen(request), note)
    messages.success(request, f"Version {number} was brought back as version {made.number}.")
    return redirect("table", name)
