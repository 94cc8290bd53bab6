from django.db import migrations, models

from scheduling.core.fleet_order import counted_worths

ROWS_AT_ONCE = 500


def count_stored_lists(apps, editor):
    """What the jobs of lists stored so far count with, so that fleets see them before they are computed anew."""
    stored = apps.get_model("scheduling", "StoredBacklog").objects.using(editor.connection.alias)
    some = []
    for row in stored.only("document").iterator(chunk_size=ROWS_AT_ONCE):
        items = row.document["items"]
        row.counted_worths = counted_worths((item["before_driving"], item["worth_per_cost"]) for item in items)
        some.append(row)
        if len(some) == ROWS_AT_ONCE:
            stored.bulk_update(some, ["counted_worths"])
            some = []
    stored.bulk_update(some, ["counted_worths"])


class Migration(migrations.Migration):
    dependencies = [("scheduling", "0004_jobs")]

    operations = [
        migrations.AddField(
            model_name="storedbacklog",
            name="counted_worths",
            field=models.JSONField(default=list),
        ),
        migrations.RunPython(count_stored_lists, migrations.RunPython.noop),
    ]
