"""What runs beside the window: pictures, guidance and slow work, off the UI thread."""
