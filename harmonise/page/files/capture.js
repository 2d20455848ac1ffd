// What the microphone gives, block by block, with the time of the sound's clock.

const BATCH = 2048; // frames that are handed on together

class Capture extends AudioWorkletProcessor {
  frames = new Float32Array(BATCH);
  count = 0;
  at = 0;

  process([[channel] = []]) {
    if (!channel) return true;
    if (!this.count) this.at = currentTime;
    this.frames.set(channel, this.count);
    this.count += channel.length;
    if (this.count >= BATCH) {
      this.port.postMessage({ at: this.at, frames: this.frames });
      this.frames = new Float32Array(BATCH);
      this.count = 0;
    }
    return true;
  }
}

registerProcessor("capture", Capture);
