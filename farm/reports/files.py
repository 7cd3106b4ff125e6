"""A report as files to take away."""

from farm.reports.csv_tables import zipped_tables
from farm.reports.pdf import pdf_bytes
from farm.reports.rows import Report
from farm.reports.xlsx import workbook_bytes

MEDIA_TYPES = {
    "pdf": "application/pdf",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "zip": "application/zip",
}
LAYOUTS = {"pdf": pdf_bytes, "xlsx": workbook_bytes, "zip": zipped_tables}


def file_of(report: Report, ending: str) -> bytes:
    return LAYOUTS[ending](report)


def files_of(report: Report) -> dict[str, bytes]:
    """Lay a report out in every form, by file ending."""
    return {ending: file_of(report, ending) for ending in LAYOUTS}
