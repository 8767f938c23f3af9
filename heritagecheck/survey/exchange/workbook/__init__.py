"""Field sheets as workbooks: the one door to writing them, reading them, and correcting rows."""

from heritagecheck.survey.exchange.workbook.read import WorkbookRows, workbook_rows
from heritagecheck.survey.exchange.workbook.write import write_rows_to_correct, write_workbook

__all__ = ["WorkbookRows", "workbook_rows", "write_rows_to_correct", "write_workbook"]
