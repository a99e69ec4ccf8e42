// The yardstick: how long libpcap takes to hand over every packet of a capture, doing nothing with them but
// counting.
#include <pcap/pcap.h>

#include <chrono>
#include <cstdint>
#include <cstdio>

int main(int argc, char** argv) {
  if (argc != 2) {
    std::fprintf(stderr, "bench_count_libpcap FILE\n");
    return 2;
  }
  const auto begin = std::chrono::steady_clock::now();
  char message[PCAP_ERRBUF_SIZE] = "";
  pcap_t* capture = pcap_open_offline_with_tstamp_precision(argv[1], PCAP_TSTAMP_PRECISION_NANO, message);
  if (capture == nullptr) {
    std::fprintf(stderr, "bench_count_libpcap: %s : %s : give a capture that libpcap reads\n", message,
                 argv[1]);
    return 3;
  }
  std::uint64_t frames = 0;
  pcap_pkthdr* header = nullptr;
  const u_char* data = nullptr;
  int status = 0;
  while ((status = pcap_next_ex(capture, &header, &data)) == 1) ++frames;
  const bool whole = status == PCAP_ERROR_BREAK;  // libpcap's word for the end of the file
  pcap_close(capture);
  const double seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
  std::printf("%llu frames %.4f s %.0f frames/s %.2f ns/frame\n", static_cast<unsigned long long>(frames),
              seconds, static_cast<double>(frames) / seconds, seconds * 1e9 / static_cast<double>(frames));
  return whole ? 0 : 3;
}
