// Only one player plays at a time. Starting the other side of a pair continues at the same position and volume.
(() => {
  const players = [...document.querySelectorAll("audio")];
  document.documentElement.classList.add("scripted");
  for (const player of players) {
    player.addEventListener("play", () => {
      for (const other of players) {
        if (other === player) continue;
        const runs = !other.paused;
        other.pause();
        if (runs && other.dataset.pair && other.dataset.pair === player.dataset.pair) player.currentTime = other.currentTime;
      }
    });
    player.addEventListener("volumechange", () => {
      for (const other of players) if (other.volume !== player.volume) other.volume = player.volume;
    });
  }
})();
