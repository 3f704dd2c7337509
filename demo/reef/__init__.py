"""An invented reef that plays the world for the demo; never imports Slackwater."""
