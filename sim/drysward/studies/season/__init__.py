"""The rest of a season: from the state of a site today through many ways in which it may go on."""
