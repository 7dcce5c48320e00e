"""WHETHER the pump may run: the safety layer, pure. It knows no plan, pin, file or clock."""
