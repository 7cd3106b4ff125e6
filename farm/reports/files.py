"""A report as files to take away."""

from farm.reports.pdf import pdf_bytes
from farm.reports.rows import Report
from farm.reports.xlsx import workbook_bytes

MEDIA_TYPES = {
    "pdf": "application/pdf",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
LAYOUTS = {"pdf": pdf_bytes, "xlsx": workbook_bytes}


def file_of(report: Report, ending: str) -> bytes:
    return LAYOUTS[ending](report)


def files_of(report: Report) -> dict[str, bytes]:
    """Lay a report out in every form, by file ending."""
    return {ending: file_of(report, ending) for ending in LAYOUTS}
