"""The season kept: all sessions of a folder, listed, filtered, labelled."""
