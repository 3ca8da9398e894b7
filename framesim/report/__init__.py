"""What people see. A renderer takes a record and draws it; it decides nothing."""
