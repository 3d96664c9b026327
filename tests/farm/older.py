"""Records as in version 1 of the tables, made from a new farm by removing what later versions added."""

from sqlalchemy import Connection, inspect, text

#: Tables of version 1 and their columns; this list never changes.
VERSION_1 = {
    "meta": "key value",
    "vessels": "id kind species substrate inoculated_at batch source face_width_mm face_height_mm diameter_mm"
    " label_size label_place state closed_at series_stale",
    "notes": "id vessel at text",
    "events": "id vessel event at",
    "photos": "hash path taken_at taken_from height_px width_px measured_at program",
    "readings": "photo slot vessel kind status reason percent percent_low percent_high hidden_percent mm_per_px"
    " face_box suspects flags alone has_face",
    "reviews": "id vessel subject verdict area_cm2 at by note",
}


def make_version_1(connection: Connection) -> None:
    """Remove everything from the records that version 1 did not have."""
    known = inspect(connection)
    for table in known.get_table_names():
        if table not in VERSION_1:
            connection.execute(text(f"DROP TABLE {table}"))
            continue
        for column in known.get_columns(table):
            if column["name"] not in VERSION_1[table].split():
                connection.execute(text(f"ALTER TABLE {table} DROP COLUMN {column['name']}"))
    connection.execute(text("UPDATE meta SET value = '1' WHERE key = 'schema_version'"))


def columns_of(connection: Connection) -> set[tuple[str, str, str, bool]]:
    """Table, column, type and nullability of all columns."""
    known = inspect(connection)
    return {
        (table, column["name"], str(column["type"]), column["nullable"])
        for table in known.get_table_names()
        for column in known.get_columns(table)
    }
