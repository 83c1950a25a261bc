"""Files as offices keep them: spreadsheets read, and lists written as tables, maps and paper."""
