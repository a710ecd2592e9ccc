"""From files to checked frames: settings, tables and layers, with every fault gathered."""
